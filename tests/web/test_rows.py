"""The refresh of the board: nothing new is 304, and never once a boundary in time has passed."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from fleet.accounts.models import Grant
from fleet.alerts import services as alerts
from fleet.board.models import Segment
from fleet.calendar import day_start
from fleet.web.board import board_page
from tests import kept
from tests.cast import DAY, NOW, Fleet, make_fleet
from tests.web.conftest import SetClock, SignIn

pytestmark = pytest.mark.django_db

MICROSECOND = timedelta(microseconds=1)
FLUSHED = NOW - DAY  # Sunday 11 January 2026
DUE = day_start(FLUSHED.date() + timedelta(days=7), "America/New_York")
MIDNIGHT = day_start(NOW.date() + timedelta(days=1), "America/New_York")  # a glass falls by the building's days


def status(client: Client, tag: str) -> int:
    return client.get("/board/rows/", headers={"If-None-Match": tag}).status_code


def flushed_yesterday() -> Fleet:
    fleet = make_fleet()
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(FLUSHED))
    return fleet


@pytest.fixture
def fleet(db: Any) -> Fleet:
    """A boiler of it turns due by time alone at DUE."""
    return kept.once("flushed yesterday", flushed_yesterday)


@pytest.fixture
def tag(rosa: Client) -> str:
    """What the browser holds at NOW."""
    return str(rosa.get("/board/rows/")["ETag"])


@pytest.mark.parametrize(
    ("at", "expected"),
    [(NOW, 304), (MIDNIGHT - MICROSECOND, 304), (MIDNIGHT, 200), (MIDNIGHT + MICROSECOND, 200), (NOW + DAY, 200)],
)
def test_a_copy_holds_until_the_buildings_next_day(
    at: datetime, expected: int, tag: str, rosa: Client, clock: SetClock
) -> None:
    clock(at)
    assert status(rosa, tag) == expected


@pytest.mark.parametrize(
    ("at", "expected"),
    [(DUE - MICROSECOND, 304), (DUE, 200), (DUE + MICROSECOND, 200), (DUE + DAY, 200)],
)
def test_a_copy_holds_until_time_alone_changes_a_row(
    at: datetime, expected: int, tag: str, rosa: Client, clock: SetClock
) -> None:
    clock(DUE - DAY / 24)
    tag = rosa.get("/board/rows/")["ETag"]
    clock(at)
    assert status(rosa, tag) == expected


def test_a_boundary_within_a_day_ends_it_too(tag: str, fleet: Fleet, rosa: Client, clock: SetClock) -> None:
    Segment.objects.update(until=NOW + DAY / 24)
    Segment.objects.filter(boiler=fleet.bench().boiler).update(since=NOW + DAY / 24, until=None)
    clock(NOW + DAY / 24 - MICROSECOND)
    before = rosa.get("/board/rows/")["ETag"]
    clock(NOW + DAY / 24)
    assert status(rosa, before) == 200


@pytest.mark.parametrize("asked", ["?q=alder", "?standing=clear", "?page=2"])
def test_a_copy_of_other_rows_is_no_copy_of_these(asked: str, tag: str, rosa: Client) -> None:
    assert rosa.get(f"/board/rows/{asked}", headers={"If-None-Match": tag}).status_code == 200


def test_the_row_itself_changes_at_the_boundary_though_nothing_ran(tag: str, rosa: Client, clock: SetClock) -> None:
    clock(DUE - MICROSECOND)
    before = rosa.get("/board/rows/").content.decode()
    clock(DUE)
    after = rosa.get("/board/rows/").content.decode()
    assert 'class="standing standing-due"' not in before.split("<h2")[1]
    assert "standing-due" in after.split("<h2")[1]


def test_a_copy_fetched_after_the_boundary_holds_again(tag: str, rosa: Client, clock: SetClock) -> None:
    clock(DUE)
    again = rosa.get("/board/rows/")["ETag"]
    assert status(rosa, again) == 304


def test_a_posted_visit_ends_it(tag: str, fleet: Fleet, rosa: Client) -> None:
    fleet.post(fleet.flushed(NOW, burner_stopped=False))
    assert status(rosa, tag) == 200


def test_a_new_grant_ends_it(tag: str, fleet: Fleet, rosa: Client) -> None:
    Grant.objects.create(user=fleet.technician, portfolio=fleet.portfolio, role="manager")
    assert status(rosa, tag) == 200


def test_a_grant_that_ends_ends_it(tag: str, fleet: Fleet, rosa: Client, clock: SetClock) -> None:
    Grant.objects.filter(user=fleet.technician).update(until=NOW + DAY)
    clock(NOW + DAY)
    assert status(rosa, tag) == 200


def test_a_boiler_that_cannot_be_judged_ends_it(tag: str, fleet: Fleet, rosa: Client) -> None:
    alerts.raise_unjudged(boiler=fleet.bench().boiler, at=NOW + MICROSECOND)
    raised = rosa.get("/board/rows/", headers={"If-None-Match": tag})
    alerts.end_unjudged(boiler=fleet.bench().boiler, at=NOW + DAY)
    assert (raised.status_code, status(rosa, raised["ETag"])) == (200, 200)


def test_another_release_of_the_pages_ends_it(tag: str, rosa: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(board_page, "build_digest", lambda: "the next one")
    assert status(rosa, tag) == 200


def test_another_persons_copy_is_not_ones_own(tag: str, fleet: Fleet, sign_in: SignIn) -> None:
    assert status(sign_in(fleet.caretaker), tag) == 200


def test_only_ones_own_browser_keeps_a_copy_and_asks_each_time(tag: str, rosa: Client) -> None:
    for response in (rosa.get("/board/rows/"), rosa.get("/board/rows/", headers={"If-None-Match": tag})):
        assert {p.strip() for p in response["Cache-Control"].split(",")} == {"private", "no-cache"}
        assert "Cookie" in response["Vary"]
