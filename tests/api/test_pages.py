"""Pages of lists: cursors, what they hold fast, what they refuse; links; 304 until something has moved."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

import pytest
from django.core import signing
from django.db.models import Min

from api.http import paged_lists as api_pages
from fleet import pipeline
from fleet.accounts import keys
from fleet.accounts.models import Grant
from fleet.board.models import Judged, Pulse
from fleet.catalog.models import Release
from fleet.catalog.queries import catalogue_of
from fleet.portfolio.models import Boiler, Portfolio
from fleet.reading import cache_validity
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from tests.api.conftest import SetClock
from tests.api.phone import Phone, flush, told
from tests.cast import DAY, NOW, Fleet, register

pytestmark = [pytest.mark.django_db, pytest.mark.xdist_group("pages")]  # one process makes the scene once
BOILERS, VISITS = "/api/v1/boilers/", "/api/v1/visits/"
Count = Callable[[int], Any]
KEY_QUERIES = 1  # the key with its owner


def ask(phone: Phone, path: str = BOILERS, **query: Any) -> Any:
    return phone.get(f"{path}?{urlencode(query)}")


def walk(phone: Phone, path: str = BOILERS, between: Callable[[], Any] = lambda: None, **query: Any) -> list[Any]:
    """Every page from the first to the last."""
    found = [ask(phone, path, **query).json()]
    while found[-1]["next"]:
        between()
        found.append(ask(phone, path, cursor=found[-1]["next"], limit=query.get("limit", 50)).json())
    return found


def ids(pages: list[Any]) -> list[str]:
    return [item["id"] for page in pages for item in page["items"]]


def more_boilers(fleet: Fleet, number: int) -> None:
    """Boilers of the register that nobody has judged yet."""
    building = fleet.bench().boiler.building
    made = {"portfolio": fleet.portfolio, "building": building, "since": NOW}
    Boiler.objects.bulk_create(Boiler(ref=f"X{n:02}", name=f"Spare {n}", **made) for n in range(number))


@pytest.mark.parametrize("order", ["worst", "place"])
@pytest.mark.parametrize("limit", [1, 2, 5, 200])
def test_pages_of_any_size_tell_every_row_once(fleet: Fleet, rosa: Phone, limit: int, order: str) -> None:
    more_boilers(fleet, 4)
    fleet.post(fleet.flushed(NOW - DAY, burner_stopped=False))
    found = walk(rosa, limit=limit, order=order)
    assert sorted(ids(found)) == sorted(str(i) for i in Boiler.objects.values_list("id", flat=True))
    assert {len(p["items"]) for p in found[:-1]} <= {limit}


def test_a_row_added_meanwhile_pushes_none_out_and_shows_none_twice(fleet: Fleet, rosa: Phone) -> None:
    more_boilers(fleet, 3)
    there = {str(i) for i in Boiler.objects.values_list("id", flat=True)}
    names = iter("ABCDEFGHIJ")  # before and behind every page alike

    def add() -> None:
        name = next(names)
        made = {"portfolio": fleet.portfolio, "building": fleet.bench().boiler.building, "since": NOW}
        Boiler.objects.bulk_create(Boiler(ref=f"{first}{name}", name="Late", **made) for first in "AXZ")

    found = ids(walk(rosa, between=add, limit=2, order="place"))
    assert len(found) == len(set(found))
    assert there <= set(found)


def test_visits_posted_meanwhile_wait_for_the_next_walk(fleet: Fleet, rosa: Phone, clock_at: SetClock) -> None:
    fleet.post(*(fleet.flushed(NOW - n * DAY) for n in range(2, 7)))
    there = set(ids(walk(rosa, VISITS, limit=200)))

    def post() -> None:
        clock_at(NOW + timedelta(minutes=1))
        fleet.post(fleet.flushed(NOW - 3 * DAY - timedelta(hours=1)), at=NOW + timedelta(minutes=1))

    pages = walk(rosa, VISITS, between=post, limit=3)
    assert set(ids(pages)) == there
    assert [p["changed"] for p in pages] == [False, True]
    assert len({p["as_of"] for p in pages}) == 1


def test_the_pages_say_the_instant_of_the_first(fleet: Fleet, rosa: Phone, clock_at: SetClock) -> None:
    first = ask(rosa, limit=1).json()
    clock_at(NOW + DAY)
    second = ask(rosa, limit=1, cursor=first["next"]).json()
    assert first["as_of"] == second["as_of"] == "2026-01-12T14:00:00Z"


def test_facts_that_moved_elsewhere_change_nothing(fleet: Fleet, rosa: Phone) -> None:
    first = ask(rosa, limit=1).json()
    Pulse.objects.create(portfolio=Portfolio.objects.create(ref="FAR", name="Far Homes"), version=9)
    assert ask(rosa, cursor=first["next"]).json()["changed"] is False


@pytest.mark.parametrize("spoil", ["tampered", "foreign", "old build", "other list", "not ours", "other secret"])
def test_a_cursor_that_was_not_given_out_for_this_is_refused(
    spoil: str, fleet: Fleet, rosa: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    cursor, phone, path = ask(rosa, limit=1).json()["next"], rosa, BOILERS
    if spoil == "tampered":
        cursor = ("A" if cursor[1] != "A" else "B").join((cursor[:1], cursor[2:]))
    if spoil == "foreign":
        phone = Phone.of(fleet.caretaker)
    if spoil == "old build":
        monkeypatch.setattr(api_pages, "build_digest", lambda: "another")
    if spoil == "other list":
        path = "/api/v1/alerts/"
    if spoil == "not ours":
        cursor = "eyJhIjoxfQ"
    if spoil == "other secret":
        cursor = signing.dumps({"of": []}, salt="changes")
    response = ask(phone, path, cursor=cursor)
    assert (response.status_code, told(response)) == (422, [("bad_cursor", "/cursor")])


def test_a_cursor_carries_its_filters(fleet: Fleet, rosa: Phone) -> None:
    more_boilers(fleet, 2)
    building = str(fleet.bench().boiler.building_id)
    found = walk(rosa, limit=1, building=building)
    assert {i["building"] for p in found for i in p["items"]} == {building}
    assert len(found) == 4
    again = ask(rosa, building=building, cursor=found[0]["next"], limit=1)
    assert again.json()["items"] == found[1]["items"]


def test_other_filters_beside_a_cursor_are_refused(fleet: Fleet, rosa: Phone) -> None:
    cursor = ask(rosa, limit=1, building=str(fleet.bench().boiler.building_id)).json()["next"]
    response = ask(rosa, cursor=cursor, standing="hold")
    assert (response.status_code, told(response)) == (422, [("other_filters", "/cursor")])


@pytest.mark.parametrize(
    ("query", "pointer"),
    [({"limit": 0}, "/limit"), ({"limit": 201}, "/limit"), ({"limit": "x"}, "/limit"), ({"page": 2}, "/page")],
)
def test_a_page_is_asked_for_in_its_bounds(query: dict[str, Any], pointer: str, rosa: Phone) -> None:
    response = ask(rosa, **query)
    assert (response.status_code, [p for _, p in told(response)]) == (400, [pointer])


def test_a_page_holds_fifty_unless_asked(fleet: Fleet, rosa: Phone) -> None:
    more_boilers(fleet, 60)
    assert [len(p["items"]) for p in walk(rosa)] == [50, 13]


def test_links_lead_to_the_next_page_and_to_the_first(fleet: Fleet, rosa: Phone) -> None:
    links = dict(re.findall(r'<([^>]+)>; rel="(\w+)"', ask(rosa, limit=1, order="place")["Link"]))
    by_rel = {rel: address for address, rel in links.items()}
    assert by_rel.keys() == {"next", "first"}
    assert rosa.get(by_rel["next"].removeprefix("http://testserver")).status_code == 200
    assert by_rel["first"].endswith("/boilers/?order=place&limit=1")


def test_the_last_page_has_no_next(fleet: Fleet, rosa: Phone) -> None:
    response = ask(rosa)
    assert (response.json()["next"], response["Link"].count("rel=")) == (None, 1)


def kept(phone: Phone, path: str, tag: str) -> int:
    return int(phone.send("GET", path, headers={"If-None-Match": tag}).status_code)


@pytest.fixture
def known(fleet: Fleet) -> Fleet:
    """Serviced and flushed: what comes next is a boundary in time."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - DAY))
    return fleet


LIVE = ["boilers/", "boilers/{b}/", "boilers/{b}/sheet/", "boilers/{b}/history/", "portfolios/", "alerts/", "visits/"]


@pytest.mark.parametrize("path", LIVE)
def test_nothing_moved_is_304_until_something_does(known: Fleet, rosa: Phone, path: str) -> None:
    address = f"/api/v1/{path.format(b=known.bench().boiler.id)}"
    tag = rosa.get(address)["ETag"]
    assert tag.startswith('W/"')
    assert (kept(rosa, address, tag), kept(rosa, address, f'"x", {tag[2:]}')) == (304, 304)
    rosa.post(flush(known))
    assert kept(rosa, address, tag) == 200
    assert rosa.get(address)["ETag"] != tag


def test_304_has_no_body_and_costs_one_read_beside_the_key(
    known: Fleet, rosa: Phone, django_assert_num_queries: Count
) -> None:
    tag = rosa.get(BOILERS)["ETag"]
    with django_assert_num_queries(KEY_QUERIES + 1):
        response = rosa.send("GET", BOILERS, headers={"If-None-Match": tag})
    assert response.status_code == 304
    assert response.content == b""
    assert response["ETag"] == tag


@pytest.mark.parametrize("before", [True, False])
def test_a_boundary_in_time_ends_it_though_nothing_has_looked(
    before: bool, known: Fleet, rosa: Phone, clock_at: SetClock
) -> None:
    tag = rosa.get(BOILERS)["ETag"]
    following = Judged.objects.filter(portfolio=known.portfolio).aggregate(at=Min("next_at"))["at"]
    assert following > NOW + timedelta(days=1)
    Judged.objects.filter(next_at=following).update(next_at=NOW + timedelta(hours=1))
    tag = rosa.get(BOILERS)["ETag"]
    clock_at(NOW + timedelta(hours=1) - timedelta(seconds=1 if before else 0))
    assert kept(rosa, BOILERS, tag) == (304 if before else 200)
    assert rosa.get(BOILERS).has_header("ETag") is before


def test_after_the_sweep_the_old_copy_is_another_one(known: Fleet, rosa: Phone, clock_at: SetClock) -> None:
    old = rosa.get(BOILERS)["ETag"]
    boundary = Judged.objects.filter(portfolio=known.portfolio).aggregate(at=Min("next_at"))["at"]
    clock_at(boundary)
    pipeline.sweep(at=boundary)
    assert kept(rosa, BOILERS, old) == 200
    assert kept(rosa, BOILERS, rosa.get(BOILERS)["ETag"]) == 304


def test_a_copy_is_nobody_elses_and_no_other_questions(known: Fleet, rosa: Phone) -> None:
    tag = rosa.get(BOILERS)["ETag"]
    assert kept(Phone.of(known.caretaker), BOILERS, tag) == 200
    assert kept(rosa, f"{BOILERS}?limit=2", tag) == 200
    assert kept(rosa, f"/api/v1/boilers/{known.bench().boiler.id}/", tag) == 200


def test_a_copy_ends_with_the_grant(known: Fleet, rosa: Phone) -> None:
    tag = rosa.get(BOILERS)["ETag"]
    Grant.objects.filter(user=known.technician).update(building=known.bench().boiler.building)
    assert kept(rosa, BOILERS, tag) == 200


def test_a_new_catalogue_ends_it(known: Fleet, rosa: Phone) -> None:
    tags = {path: rosa.get(path)["ETag"] for path in (BOILERS, "/api/v1/procedures/")}
    first = Release.objects.get(number=1)
    Release.objects.create(number=2, starts_on=NOW.date(), digest="x", content=first.content, loaded_at=NOW)
    assert {kept(rosa, path, tag) for path, tag in tags.items()} == {200}


def test_a_name_edited_in_the_register_ends_it(known: Fleet, rosa: Phone) -> None:
    """What is edited without a pulse would be told only after the next one: an import always gives one."""
    tag = rosa.get("/api/v1/buildings/")["ETag"]
    rows = [
        replace(r, address="14 Alder Terrace")
        for r in parse_sheet(register(), catalogue_of(1))
        if r.building_ref == "ALD12"
    ]
    pipeline.change_register(portfolio=known.portfolio, rows=rows, at=NOW, cause=Cause(who="office"))
    assert kept(rosa, "/api/v1/buildings/", tag) == 200


def test_a_build_that_serves_other_code_keeps_no_copy(
    known: Fleet, rosa: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    tag = rosa.get(BOILERS)["ETag"]
    monkeypatch.setattr(cache_validity, "build_digest", lambda: "another")
    assert kept(rosa, BOILERS, tag) == 200


def test_a_boiler_that_moved_meanwhile_is_not_lost(known: Fleet, rosa: Phone, clock_at: SetClock) -> None:
    """What is stored of it begins after the instant of the first page: the first of that stands for it."""
    later = NOW + timedelta(minutes=5)
    known.post(known.serviced(NOW - 30 * DAY, "ALD12 B2"))
    first = ask(rosa, limit=1, order="place").json()
    known.post(known.flushed(later, "ALD12 B2", burner_stopped=False), at=later)
    clock_at(later)
    rest = ask(rosa, cursor=first["next"]).json()
    found = {i["id"]: i for i in rest["items"]}
    moved = found[str(known.bench("ALD12 B2").boiler.id)]
    assert moved["since"] == "2026-01-12T14:05:00Z"
    assert moved["standing"] == "hold"
    assert rest["changed"] is True


def test_a_list_is_also_a_table_that_goes_on(fleet: Fleet, rosa: Phone) -> None:
    response = ask(rosa, **{"limit": 1, "as": "csv", "order": "place"})
    header, row = response.content.decode("utf-8-sig").splitlines()[:2]
    assert header.split(",")[:5] == ["id", "portfolio", "building", "address", "ref"]
    assert "12 Alder Terrace" in row
    assert "as=csv" in response["Link"]
    assert response["ETag"] != ask(rosa, limit=1, order="place")["ETag"]


def test_a_copy_is_of_one_key_and_its_reach(known: Fleet, rosa: Phone) -> None:
    tag = rosa.get(BOILERS)["ETag"]
    portfolio = Portfolio.objects.create(ref="FAR", name="Far Homes").id
    made = keys.create_key(user=known.technician, name="far", scopes=["read"], portfolio=portfolio, at=NOW)
    answer = Phone(made.secret).send("GET", BOILERS, headers={"If-None-Match": tag})
    assert (answer.status_code, answer.json()["items"]) == (200, [])
