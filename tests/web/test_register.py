"""The register's pages: found by a word, edited by who may, with what was changed; a sheet by two steps."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from playwright.sync_api import Browser, expect

from fleet import pipeline
from fleet.portfolio.models import Boiler, Building, Import, Position, Setting
from fleet.visits.incoming import IncomingEntry
from tests.cast import DAY, NOW, Fleet, make_fleet, make_person
from tests.portfolio.sheets import LIMIT, row, sheet
from tests.portfolio.streets import as_csv
from tests.web.conftest import SignIn, take_session
from tests.web.desk import send
from tests.web.looks import PRESENTATIONS
from tests.web.test_board import Count, read
from tests.web.test_live import violations

pytestmark = pytest.mark.django_db


@pytest.fixture
def boiler(fleet: Fleet) -> Boiler:
    return fleet.bench().boiler


@pytest.fixture
def address(boiler: Boiler) -> str:
    return f"/register/boilers/{boiler.id}/"


# Looking.


def test_buildings_are_listed_with_counts_and_found_by_a_word(fleet: Fleet, ines: Client) -> None:
    assert "1 building, 2 boilers" in read(ines, "/register/")
    for word in ("alder", "ald12", "boiler 2"):
        assert "12 Alder Terrace" in read(ines, f"/register/?q={word}")
    assert "No building has “maple”" in read(ines, "/register/?q=maple")


def test_a_boiler_shows_places_devices_and_values(ines: Client, address: str) -> None:
    body = read(ines, address)
    for words in (
        "High limit",
        "Limit control, fitted Tue 01 Oct 2019",
        "hangs on siphon-2",
        "8 psi",
        "1,100,000 Btu/h",
    ):
        assert words in body


def test_what_a_visit_replaced_stands_beside_the_registers_word(fleet: Fleet, ines: Client, address: str) -> None:
    limit = fleet.bench().places["limit"]
    entry = IncomingEntry("replace", "", limit, NOW - DAY, kind="limit_control", reason="sticks")
    visit = fleet.visit(NOW - DAY, [entry])
    fleet.post(visit)
    manager = Client()
    manager.force_login(make_person("max", fleet.portfolio, "manager"))
    assert re.search(
        rf"Since then a <a href=\"/visits/{visit.id}/\">visit of Sun 11 Jan 2026</a>", read(manager, address)
    )
    assert "Since then a" not in read(ines, address)  # the office does not read visits


@pytest.mark.parametrize("page", ["/register/", "address", "building"])
def test_who_only_sees_the_register_sees_no_forms(
    page: str, fleet: Fleet, boiler: Boiler, rosa: Client, ines: Client, address: str
) -> None:
    pages = {"address": address, "building": f"/register/buildings/{boiler.building_id}/"}
    assert 'method="post" action="/register' not in read(rosa, pages.get(page, page))
    assert 'method="post" action="/register' in read(ines, pages.get(page, page))


def test_who_may_see_but_not_change_is_told_so_and_an_outsider_finds_nothing(
    fleet: Fleet, boiler: Boiler, rosa: Client, ines: Client, sign_in: SignIn, address: str
) -> None:
    page = read(ines, address)
    assert send(rosa, address, "name", page=page, boiler_name="Mine").status_code == 403
    olga = sign_in(fleet.outsider)
    assert send(olga, address, "name", page=page, boiler_name="Mine").status_code == 404
    assert {olga.get(a).status_code for a in (address, f"/register/buildings/{boiler.building_id}/")} == {404}
    assert Boiler.objects.get(id=boiler.id).name == "Boiler 1"


def test_without_signing_in_nothing_is_shown_or_done(address: str) -> None:
    assert Client().get(address).status_code == 302
    assert Client().post(f"{address}change/", {"form": "name"})["Location"].startswith("/sign-in/")


def test_a_form_without_its_mark_is_refused(fleet: Fleet, ines: Client, address: str) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(make_person("iris", fleet.portfolio, "office"))
    assert send(strict, address, "name", page=read(ines, address), boiler_name="Mine").status_code == 403
    file = SimpleUploadedFile("a.csv", b"x")
    assert strict.post(f"/register/import/{fleet.portfolio.id}/file/", {"file": file}).status_code == 403


# session, user; may see; the boiler, places, settings twice, fittings, release (8); may change; service state twice;
# may read visits, what they fitted; what is left out: places, fittings twice, settings twice, the boiler;
# papers; changes
PAGE = 22


@pytest.mark.parametrize("more", [0, 5])
def test_what_a_boilers_page_costs(
    more: int, ines: Client, boiler: Boiler, address: str, django_assert_max_num_queries: Count
) -> None:
    for number in range(more):
        Position.objects.create(
            boiler=boiler, portfolio=boiler.portfolio, ref=f"p{number}", name="gauge", role_id="gauge"
        )
    with django_assert_max_num_queries(PAGE):
        ines.get(address)


# A sheet by two steps.

NEW = {"building_ref": "NEW1", "address": "1 New Lane"}


def handed_in(client: Client, fleet: Fleet, content: bytes, name: str = "street.csv") -> str:
    response = client.post(f"/register/import/{fleet.portfolio.id}/file/", {"file": SimpleUploadedFile(name, content)})
    assert response.status_code == 302
    return str(response["Location"])


def test_a_sheet_is_compared_confirmed_and_saved(fleet: Fleet, ines: Client) -> None:
    at = handed_in(ines, fleet, sheet(row(**NEW), row(**{**LIMIT, **NEW})).encode())
    body = read(ines, at)
    assert "Not saved yet" in body
    assert "1 New Lane is a new building." in body
    assert not Building.objects.filter(ref="NEW1").exists()
    version = Import.objects.get().version
    assert ines.post(f"{at}confirm/", {"version": version}).status_code == 302
    assert "Saved" in read(ines, at)
    assert Building.objects.filter(ref="NEW1").exists() is True


def test_faults_stand_first_with_row_and_column(fleet: Fleet, ines: Client) -> None:
    body = read(ines, handed_in(ines, fleet, sheet(row(**NEW), row(**NEW, ref="b", zone="Nowhere")).encode()))
    told = body.split('id="faults"')[1].split("</section>")[0]
    assert re.search(r"</span>3</th><td data-label=\"Column\">C zone</td>", told)
    assert "Save all of it" not in body


def test_what_is_missing_and_what_is_the_same_can_be_chosen(fleet: Fleet, ines: Client) -> None:
    at = handed_in(ines, fleet, sheet(row(**NEW)).encode())
    assert "Boiler 1 of 12 Alder Terrace is not in the file" in read(ines, f"{at}?part=missing")
    assert "None." in read(ines, f"{at}?part=same")
    assert ines.get(f"{at}?part=else").status_code == 404


def test_a_large_file_shows_how_far_it_is_and_can_be_left(fleet: Fleet, ines: Client) -> None:
    at = handed_in(ines, fleet, as_csv(40))
    Import.objects.update(done=420, total=840)
    body = read(ines, at)
    assert "420 of 840" in body
    assert 'value="50"' in body
    assert 'hx-trigger="every 2s"' in body
    pipeline.work_on_imports(at=NOW)
    part = ines.get(at, headers={"HX-Request": "true"})
    assert part["HX-Refresh"] == "true"
    assert b"hx-trigger" not in part.content


def test_a_report_that_is_no_longer_the_one_looked_at_is_not_confirmed(fleet: Fleet, ines: Client) -> None:
    at = handed_in(ines, fleet, sheet(row(**NEW)).encode())
    response = ines.post(f"{at}confirm/", {"version": 99})
    assert response.status_code == 412
    assert "The report has changed in the meantime" in response.content.decode()
    assert ines.post(f"{at}withdraw/", {"version": Import.objects.get().version}).status_code == 302
    assert "Withdrawn, not saved" in read(ines, at)


def test_without_a_file_and_with_too_large_a_one_the_page_says_so(fleet: Fleet, ines: Client) -> None:
    address = f"/register/import/{fleet.portfolio.id}/file/"
    assert b"Choose a file." in ines.post(address, {}).content
    assert ines.post(address, {}, CONTENT_LENGTH=str(21 * 1024 * 1024)).status_code == 413


def test_only_who_may_change_the_whole_portfolio_imports(fleet: Fleet, ines: Client, rosa: Client) -> None:
    at = handed_in(ines, fleet, sheet(row(**NEW)).encode())
    pages = (at, f"/register/import/{fleet.portfolio.id}/")
    assert {rosa.get(page).status_code for page in pages} == {404}
    assert rosa.post(f"{at}confirm/", {"version": 1}).status_code == 404
    assert "Import a sheet" not in read(rosa, "/register/")


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_register_and_an_example_are_downloaded(kind: str, fleet: Fleet, rosa: Client, ines: Client) -> None:
    for question in ("", "?example=yes"):
        response = rosa.get(f"/register/sheets/{fleet.portfolio.id}.{kind}{question}")
        assert response.status_code == 200
        assert f".{kind}" in response["Content-Disposition"]
        assert len(b"".join(response.streaming_content)) > 500  # type: ignore[attr-defined]
    assert rosa.get(f"/register/sheets/{fleet.portfolio.id}.pdf").status_code == 404


# In a browser.


@pytest.fixture
def opened(transactional_db: Any, live_server: Any, browser: Browser) -> Callable[..., Any]:
    """A page of the register in a browser, the office signed in."""
    fleet = make_fleet()
    office, boiler = make_person("ines", fleet.portfolio, "office"), fleet.bench().boiler
    pages = {
        "list": "/register/",
        "building": f"/register/buildings/{boiler.building_id}/",
        "boiler": f"/register/boilers/{boiler.id}/",
        "import": f"/register/import/{fleet.portfolio.id}/",
    }

    def at_page(name: str) -> Any:
        page = browser.new_page()
        take_session(page.context, office, live_server.url)
        page.goto(live_server.url + pages[name])
        expect(page.get_by_role("button", name="Sign out")).to_be_visible()
        return page

    return at_page


def usable(page: Any) -> None:
    for theme, width in PRESENTATIONS:
        page.emulate_media(color_scheme=theme)
        page.set_viewport_size({"width": width, "height": 800})
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
        assert violations(page) == []
        assert not page.evaluate("document.documentElement.scrollWidth > innerWidth")


def test_what_a_sheet_would_do_is_told_to_everybody(opened: Callable[..., Any]) -> None:
    page = opened("list")
    base = page.url.split("/register/")[0]
    for content in (sheet(row(**NEW), row(**{**LIMIT, **NEW})), sheet(row(**NEW, zone="Nowhere"))):
        page.goto(base + addresses()["import"])
        page.set_input_files("#file", {"name": "s.csv", "mimeType": "text/csv", "buffer": content.encode()})
        page.get_by_role("button", name="Compare").click()
        expect(page.get_by_role("heading", name="s.csv")).to_be_visible()
        usable(page)


def addresses() -> dict[str, str]:
    boiler = Boiler.objects.select_related("building").get(building__ref="ALD12", ref="B1")
    return {
        "building": f"/register/buildings/{boiler.building_id}/",
        "boiler": f"/register/boilers/{boiler.id}/",
        "import": f"/register/import/{boiler.portfolio_id}/",
    }


def test_a_set_point_is_changed_by_keyboard_alone(opened: Callable[..., Any]) -> None:
    page = opened("boiler")
    slip = page.locator(".place", has_text="High limit")
    slip.locator("summary", has_text="Set a value").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    slip.get_by_label("What").select_option("set_psi")
    page.keyboard.press("Tab")
    page.keyboard.type("9")
    page.keyboard.press("Enter")
    expect(page.locator(".place", has_text="High limit")).to_contain_text("9 psi")
    assert Setting.objects.filter(key="set_psi", value=9.0).exists()
