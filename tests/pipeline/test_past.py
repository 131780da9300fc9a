"""The standing at any instant: by all that is known, or by what was known at a time."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet import pipeline
from fleet.board.models import Segment
from fleet.calendar import day_start
from fleet.reading import standing_history
from tests import kept
from tests.cast import DAY, NOW, Fleet, make_fleet

pytestmark = pytest.mark.django_db

MICROSECOND = timedelta(microseconds=1)
SERVICED = NOW - 60 * DAY
FAILED = NOW - 20 * DAY
REPAIRED = NOW - 18 * DAY
FLUSHED = NOW - DAY
DUE = day_start(FLUSHED.date() + timedelta(days=7), "America/New_York")


@pytest.fixture
def known(db: Any) -> Fleet:
    """Each visit posted when it was performed: serviced, failed, repaired, flushed yesterday."""
    return kept.once("posted when performed", posted_when_performed)


def posted_when_performed() -> Fleet:
    fleet = make_fleet()
    for visit in (
        fleet.serviced(SERVICED),
        fleet.flushed(FAILED, burner_stopped=False),
        fleet.repaired(REPAIRED),
        fleet.flushed(FLUSHED),
    ):
        fleet.post(visit, at=visit.performed_at)
    return fleet


def ask(fleet: Fleet, at: datetime, known_at: datetime | None = None) -> str:
    return standing_history.standing_at(fleet.bench().boiler.id, at, known_at).standing


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        (SERVICED - MICROSECOND, "not_surveyed"),
        (SERVICED, "clear"),
        (SERVICED + MICROSECOND, "clear"),
        (FAILED - MICROSECOND, "due"),  # the weekly flush since the service was not done
        (FAILED, "hold"),
        (FAILED + MICROSECOND, "hold"),
        (REPAIRED - MICROSECOND, "hold"),
        (REPAIRED, "clear"),
        (REPAIRED + MICROSECOND, "clear"),
        (NOW, "clear"),
        (DUE - MICROSECOND, "clear"),
        (DUE, "due"),
        (DUE + MICROSECOND, "due"),
        (NOW + 3000 * DAY, "exposed"),
    ],
)
def test_the_standing_before_at_and_after_every_boundary(known: Fleet, at: datetime, expected: str) -> None:
    assert ask(known, at) == expected


def test_what_is_stored_and_what_is_replayed_agree(known: Fleet) -> None:
    boiler = known.bench().boiler.id
    for hours in range(0, 24 * 100, 61):
        at = NOW - 70 * DAY + timedelta(hours=hours)
        replayed = standing_history.standing_at(boiler, at, known_at=NOW + 1000 * DAY)
        assert replace(replayed, known_at=None) == standing_history.standing_at(boiler, at)


def test_a_late_post_changes_the_past_and_not_what_was_known_then(known: Fleet) -> None:
    late = FLUSHED - 3 * DAY
    then = ask(known, late, known_at=NOW)
    known.post(known.flushed(late, burner_stopped=False), at=NOW + DAY)
    assert then == "due"
    assert ask(known, late) == "hold"
    assert ask(known, late, known_at=NOW) == "due"


@pytest.mark.parametrize(
    ("after", "expected"), [(-MICROSECOND, "clear"), (timedelta(0), "hold"), (MICROSECOND, "hold")]
)
def test_a_post_is_known_from_the_instant_it_was_posted(known: Fleet, after: timedelta, expected: str) -> None:
    posted = NOW + timedelta(hours=5)
    known.post(known.flushed(NOW, burner_stopped=False), at=posted)
    assert ask(known, NOW, known_at=posted + after) == expected


def test_a_correction_changes_the_past_and_not_what_was_known_then(known: Fleet) -> None:
    wrong = known.flushed(NOW, burner_stopped=False)
    known.post(wrong)
    right = replace(known.flushed(NOW), id=uuid4(), corrects=wrong.id, reason="wrong box ticked")
    known.post(right, at=NOW + timedelta(hours=2))
    known.second(right, at=NOW + timedelta(hours=4))
    then = [ask(known, NOW, known_at=NOW + timedelta(hours=h)) for h in (1, 3, 4)]
    assert (ask(known, NOW), then) == ("clear", ["hold", "hold", "clear"])


def test_what_was_foreseen_then_of_a_later_instant_can_be_asked(known: Fleet) -> None:
    # When it was serviced, a month and a half without a flush was to come.
    assert (ask(known, NOW), ask(known, NOW, known_at=SERVICED)) == ("clear", "due")


def test_nothing_was_known_before_anything_was_posted(known: Fleet) -> None:
    assert ask(known, NOW, known_at=SERVICED - MICROSECOND) == "not_surveyed"


@pytest.mark.parametrize("known_at", [None, REPAIRED, NOW])
def test_every_answer_has_its_reason(known: Fleet, known_at: datetime | None) -> None:
    for at in (NOW - 5000 * DAY, FAILED, NOW, NOW + 5000 * DAY):
        told = standing_history.standing_at(known.bench().boiler.id, at, known_at)
        assert told.reasons
        assert all(reason["sentence"] for reason in told.reasons)


def test_a_boiler_that_was_never_judged_is_judged_to_answer(known: Fleet) -> None:
    Segment.objects.all().delete()
    assert ask(known, FAILED) == "hold"


@pytest.mark.parametrize(
    ("at", "known_at", "queries"), [(NOW, None, 1), (NOW + 300 * DAY, None, 1), (FAILED, None, 15), (FAILED, NOW, 13)]
)
def test_the_future_is_one_look_up_and_the_past_one_replay(
    known: Fleet, at: datetime, known_at: datetime | None, queries: int
) -> None:
    boiler = known.bench().boiler.id
    with CaptureQueriesContext(connection) as captured:
        standing_history.standing_at(boiler, at, known_at)
    assert len(captured) == queries


def test_asking_writes_nothing(known: Fleet) -> None:
    for known_at in (None, REPAIRED):
        ask(known, FAILED, known_at)
    assert pipeline.rebuild(at=NOW) <= 2  # what time alone brought since each was judged
    assert pipeline.rebuild(at=NOW) == 0
