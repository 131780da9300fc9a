"""A heartbeat says when a part was last seen, and whether that is soon enough."""

from datetime import timedelta

import pytest

from fleet.heartbeats.models import Heartbeat
from fleet.heartbeats.services import (
    BEAT,
    DELIVERY,
    LATE_AFTER,
    WORKER,
    is_on_time,
    note_heartbeat,
    note_scheduled_work,
    read_heartbeats,
)
from tests.cast import NOW

MOMENT = timedelta(microseconds=1)


@pytest.mark.parametrize(
    ("age", "on_time"),
    [
        (timedelta(0), True),
        (LATE_AFTER - MOMENT, True),
        (LATE_AFTER, True),
        (LATE_AFTER + MOMENT, False),
        (-LATE_AFTER, True),
        (-LATE_AFTER - MOMENT, False),  # noted by a clock that was fast
    ],
)
def test_a_part_is_on_time_for_two_minutes_and_a_clock_that_was_fast_does_not_keep_it_so(
    age: timedelta, on_time: bool
) -> None:
    assert is_on_time(Heartbeat(part=WORKER, seen_at=NOW - age), NOW) is on_time


def test_a_part_that_was_never_seen_is_not_on_time() -> None:
    assert not is_on_time(None, NOW)


@pytest.mark.django_db
@pytest.mark.parametrize("later", [timedelta(seconds=30), -timedelta(hours=1)])
def test_the_last_note_stands_whatever_the_clock_said_before(later: timedelta) -> None:
    note_heartbeat(WORKER, NOW, "first")
    note_heartbeat(WORKER, NOW + later)
    assert [(h.part, h.seen_at, h.detail) for h in read_heartbeats().values()] == [(WORKER, NOW + later, "")]


@pytest.mark.django_db
def test_what_beat_sent_tells_of_beat_as_of_when_it_sent_it() -> None:
    note_scheduled_work(DELIVERY, sent_at=NOW - timedelta(seconds=20), at=NOW)
    seen = {part: heartbeat.seen_at for part, heartbeat in read_heartbeats().items()}
    assert seen == {DELIVERY: NOW, BEAT: NOW - timedelta(seconds=20)}


@pytest.mark.django_db
def test_what_somebody_else_sent_tells_nothing_of_beat() -> None:
    note_scheduled_work(WORKER, sent_at=None, at=NOW)
    assert set(read_heartbeats()) == {WORKER}
