"""Deficiencies: the list with its filters and pages, one deficiency's life, and what people decide on its page."""

import re
from datetime import timedelta
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, expect

from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.web.deficiencies import deficiencies_page as door
from fleet.web.shared import pages
from tests.cast import DAY, NOW, Fleet, make_fleet, make_person
from tests.jobs.crew import Crew, crew, held
from tests.stories import story
from tests.web.conftest import SetClock, SignIn, take_session
from tests.web.desk import form_of
from tests.web.markup import markup_of
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db
TOMORROW = "2026-01-13T09:00"


@pytest.fixture
def office(fleet: Fleet, clock: SetClock, monkeypatch: pytest.MonkeyPatch) -> Crew:
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW))
    return crew(fleet)


@story
def on_hold(fleet: Fleet) -> None:
    """By a flush an hour ago."""
    held(fleet)


@pytest.fixture
def row(office: Crew, on_hold: Fleet) -> Deficiency:
    return Deficiency.objects.get(rule="flush_keeps_firing")


@pytest.fixture
def mona(office: Crew, sign_in: SignIn) -> Client:
    return sign_in(make_person("mona", office.fleet.portfolio, "manager", "technician"))


def routine(row: Deficiency, count: int, level: str = "routine") -> None:
    """Deficiencies of one class beside the hold, each a day older than the one before."""
    made = []
    for n in range(count):
        opened = NOW - (n + 1) * DAY
        levels = [{"since": opened.isoformat(), "until": None, "level": level}]
        told = {"portfolio": row.portfolio, "boiler": row.boiler, "opened_at": opened, "levels": levels}
        made.append(Deficiency(rule=f"made_{level}_{n}", episode=1, sentence=f"Made {level} {n:03}.", **told))
    Deficiency.objects.bulk_create(made)


def sentences(body: str) -> list[str]:
    return re.findall(r'<th scope="row"><a[^>]*>(.*?)</a>', body)


def send(client: Client, row: Deficiency, kind: str, **fields: str) -> Any:
    """Look at the page, fill in one form of it, send it."""
    page = read(client, f"/deficiencies/{row.id}/")
    return client.post(f"/deficiencies/{row.id}/decide/", {**form_of(page, kind), **fields})


def test_the_worst_class_comes_first_and_then_the_oldest(row: Deficiency, mona: Client) -> None:
    routine(row, 2)
    routine(row, 1, "urgent")
    body = read(mona, "/deficiencies/")
    found = [s for s in sentences(body) if s.startswith(("The burner", "Made"))]
    assert found == [row.sentence, "Made urgent 000.", "Made routine 001.", "Made routine 000."]
    counts = dict(re.findall(r">(\w+)</span> ?</dt><dd>(\d+)</dd>", body))
    assert (counts["Hold"], counts["Urgent"]) == ("1", "1")


@pytest.mark.parametrize(
    ("asked", "there"),
    [
        ("level=hold", (True, False)),
        ("level=routine", (False, True)),
        ("age=week", (False, True)),
        ("age=year", (False, False)),
        ("q=alder", (True, True)),
        ("q=nowhere", (False, False)),
        ("status=closed", (False, False)),
        ("status=repaired", (False, False)),
        ("level=nonsense&age=nonsense&status=nonsense&after=nonsense", (True, True)),
    ],
)
def test_the_list_is_narrowed_by_its_address(
    asked: str, there: tuple[bool, bool], row: Deficiency, mona: Client
) -> None:
    routine(row, 9)
    body = read(mona, f"/deficiencies/?{asked}")
    assert (row.sentence in sentences(body), "Made routine 008." in sentences(body)) == there
    assert ("No matching deficiency" in body) == (not any(there))


@pytest.mark.parametrize("age", [timedelta(days=7) - timedelta(microseconds=1), timedelta(days=7)])
def test_over_a_week_begins_after_seven_days(age: timedelta, row: Deficiency, mona: Client) -> None:
    routine(row, 1)
    Deficiency.objects.filter(rule="made_routine_0").update(opened_at=NOW - age)
    found = sentences(read(mona, "/deficiencies/?age=week"))
    assert ("Made routine 000." in found) == (age >= timedelta(days=7))


def test_a_long_list_has_pages_that_lose_and_double_nothing(
    row: Deficiency, mona: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    routine(row, 6)
    whole = sentences(read(mona, "/deficiencies/"))
    monkeypatch.setattr(door, "PER_PAGE", 3)
    address, found = "/deficiencies/", []
    while address:
        body = read(mona, address)
        found += sentences(body)
        more = re.search(r'href="([^"]*)" rel="next"', body)
        address = f"/deficiencies/{more[1]}" if more else ""
    assert found == whole
    assert len(whole) > 6


def test_an_empty_list_explains_itself(office: Crew, mona: Client, sign_in: SignIn) -> None:
    assert "Nothing is open" in read(mona, "/deficiencies/")
    assert "Ask the manager of the portfolio" in read(sign_in(office.fleet.outsider), "/deficiencies/")


def test_a_life_is_told_from_its_visit_to_what_closed_it(
    office: Crew, row: Deficiency, mona: Client, sign_in: SignIn
) -> None:
    office.plan(office.make(deficiencies=[row.id]))
    assert send(mona, row, "assigned", to=str(office.rosa.id), until=TOMORROW, reason="Ring twice.").status_code == 302
    assert send(mona, row, "explained", cause="jumper", reason="Seen on the relay.").status_code == 302
    body = read(mona, f"/deficiencies/{row.id}/")
    order = ["Found", "entry 1 of the visit", "Assigned", "To rosa. By Tue 13 Jan 2026, 09:00 EST", "Cause: jumper"]
    life = body.split('class="life"')[1]
    assert [life.index(words) for words in order] == sorted(life.index(words) for words in order)
    assert "Planned, rosa, Tue 13 Jan 2026, 09:00 EST" in body
    office.fleet.post(office.fleet.repaired(NOW))
    told = read(mona, f"/deficiencies/{row.id}/")
    assert "Proven right." in told
    assert 'name="form"' not in told


def test_a_withdrawn_one_says_so_and_when(office: Crew, row: Deficiency, mona: Client) -> None:
    Deficiency.objects.filter(id=row.id).update(withdrawn=True)
    assert "A correction removed its cause" in read(mona, f"/deficiencies/{row.id}/")


@pytest.mark.parametrize(
    ("role", "offered"),
    [
        ("dispatcher", {"assigned"}),
        ("manager", {"assigned", "repair_reported", "explained"}),  # a hold is not deferred
        ("owner", {"assigned", "repair_reported"}),
        ("caretaker", {"repair_reported"}),
        ("inspector", set()),
    ],
)
def test_forms_are_for_who_may(role: str, offered: set[str], office: Crew, row: Deficiency, sign_in: SignIn) -> None:
    client = sign_in(make_person("pat", office.fleet.portfolio, role))
    body = read(client, f"/deficiencies/{row.id}/")
    assert set(re.findall(r'name="form" value="(\w+)"', body)) == offered
    response = client.post(f"/deficiencies/{row.id}/decide/", {"form": "deferred", "was:version": "1"})
    assert response.status_code == (422 if role in ("manager", "owner") else 403)
    assert DeficiencyAct.objects.count() == 0


def test_a_repair_is_reported_and_an_urgent_one_deferred(row: Deficiency, mona: Client) -> None:
    done = (NOW - timedelta(minutes=30)).strftime("%Y-%m-%dT09:00")
    assert send(mona, row, "repair_reported", done_at="2026-01-12T08:30", reason=f"<b>{done}</b>").status_code == 302
    body = read(mona, f"/deficiencies/{row.id}/")
    assert "Repaired, not proven: said to be done Mon 12 Jan 2026" in body
    assert f"<b>{done}" not in body
    levels = [{"since": row.opened_at.isoformat(), "until": None, "level": "urgent"}]
    made = {"portfolio": row.portfolio, "boiler": row.boiler, "opened_at": row.opened_at, "episode": 1}
    urgent = Deficiency.objects.create(rule="made", sentence="Made.", levels=levels, **made)
    assert 'value="deferred"' in read(mona, f"/deficiencies/{urgent.id}/")


@pytest.mark.parametrize(
    ("kind", "fields", "field"),
    [
        ("assigned", {"to": "", "until": TOMORROW}, "to"),
        ("assigned", {"until": "2026-01-12T08:00"}, "until"),
        ("assigned", {"until": "2026-03-08T02:30"}, "until"),  # the hour the clock leaves out
        ("repair_reported", {"done_at": "2026-01-01T08:00", "reason": "x"}, "done_at"),
        ("repair_reported", {"done_at": "2026-01-12T08:30", "reason": " "}, "reason"),
        ("explained", {"cause": "", "reason": "x"}, "cause"),
    ],
)
def test_what_is_refused_is_said_beside_its_field(
    kind: str, fields: dict[str, str], field: str, office: Crew, row: Deficiency, mona: Client
) -> None:
    response = send(mona, row, kind, **{"to": str(office.rosa.id), **fields})
    told = markup_of(response)
    assert response.status_code == 422
    assert f'id="{kind}-{field}-fault"' in told
    assert DeficiencyAct.objects.count() == 0


def test_two_who_looked_at_the_same_page_do_not_overwrite_each_other(
    office: Crew, row: Deficiency, mona: Client
) -> None:
    seen = form_of(read(mona, f"/deficiencies/{row.id}/"), "assigned")
    sent = {**seen, "to": str(office.rosa.id), "until": TOMORROW}
    assert mona.post(f"/deficiencies/{row.id}/decide/", sent).status_code == 302
    response = mona.post(f"/deficiencies/{row.id}/decide/", sent)
    assert response.status_code == 412
    assert "Somebody changed this in the meantime" in response.content.decode()
    assert DeficiencyAct.objects.count() == 1


def test_one_on_a_foreign_boiler_is_unknown(office: Crew, row: Deficiency, sign_in: SignIn) -> None:
    olga = sign_in(office.fleet.outsider)
    for address in (f"/deficiencies/{row.id}/", f"/deficiencies/{uuid4()}/"):
        assert olga.get(address).status_code == 404
        assert olga.post(f"{address}decide/", {"form": "assigned"}).status_code == 404
    assert row.sentence not in read(olga, "/deficiencies/")


def test_nothing_is_decided_without_signing_in_or_the_forms_mark(office: Crew, row: Deficiency) -> None:
    address = f"/deficiencies/{row.id}/decide/"
    assert Client().post(address)["Location"] == f"/sign-in/?next=/deficiencies/{row.id}/"
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(office.dispatcher)
    assert strict.post(address, {"form": "assigned"}).status_code == 403


# session, user; counts, rows, episodes, acts about them, jobs that ask for them, portfolios, grants
LIST = 9
# session, user; the row, episodes, acts, its roles, who can be given it, swallowed, the entry's visit,
# who may read visits and make jobs, jobs, the nearest of them
ONE = 15


@pytest.mark.parametrize("more", [1, 19])
def test_what_the_pages_cost(more: int, row: Deficiency, mona: Client, django_assert_num_queries: Count) -> None:
    routine(row, more)
    read(mona, f"/deficiencies/{row.id}/")
    with django_assert_num_queries(LIST):
        mona.get("/deficiencies/")
    with django_assert_num_queries(ONE):
        mona.get(f"/deficiencies/{row.id}/")


def test_a_deficiency_is_given_to_somebody_by_keyboard_alone(
    transactional_db: Any, live_server: Any, browser: Browser
) -> None:
    fleet, at = make_fleet(), timezone.now()
    fleet.post(fleet.flushed(at - DAY, burner_stopped=False), at=at)
    row = Deficiency.objects.get(rule="flush_keeps_firing")
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    take_session(page.context, make_person("mona", fleet.portfolio, "manager"), live_server.url)
    page.goto(f"{live_server.url}/deficiencies/{row.id}/")
    page.locator("#assigned summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("rosa")
    page.get_by_label("To be done by").fill((at + 3 * DAY).strftime("%Y-%m-%dT09:00"))
    page.keyboard.press("Enter")
    expect(page.locator(".life")).to_contain_text("To rosa.")
