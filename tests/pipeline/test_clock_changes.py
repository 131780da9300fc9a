"""A beat that stood still for eight days, or ran twice, over both changes of the clock and a leap day.

Afterwards there are the alerts and notices of a run that nothing disturbed. The time is an argument; nobody waits.
"""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction

from fleet import pipeline
from fleet.alerts.models import Alert
from fleet.board.models import Change
from fleet.notices.models import Destination, Notice
from fleet.portfolio.models import Boiler
from tests import kept
from tests.cast import DAY, Fleet, conclusions, make_fleet, make_person
from tests.pipeline.crowd import at_once

pytestmark = pytest.mark.django_db(transaction=True)

NEW_YORK = ZoneInfo("America/New_York")
# Midnights of New York at which the day begins that is an hour short, an hour long, or there every four years only.
CHANGE_DAYS = {
    "spring": datetime(2026, 3, 8, 5, tzinfo=UTC),
    "autumn": datetime(2026, 11, 1, 4, tzinfo=UTC),
    "leap day": datetime(2028, 2, 29, 5, tzinfo=UTC),
}
QUIET, STEP = timedelta(days=8), timedelta(hours=12)
# Flushed so many days before the change: the first is due on that day, the second is late then, the third lapses.
FLUSHED_BEFORE = {"ALD12 B1": 7, "ALD12 B2": 10, "QUA48 B1": 31}


@pytest.fixture(params=CHANGE_DAYS)
def change_day(request: pytest.FixtureRequest) -> datetime:
    """The first instant of a strange day."""
    return CHANGE_DAYS[request.param]


@pytest.fixture
def fleet(transactional_db: Any, change_day: datetime) -> Fleet:
    """Three boilers with boundaries around that day, and people who are told; worked out once, and put back."""
    return kept.once(f"boilers around {change_day}", lambda: begin_story(change_day))


def begin_story(change_day: datetime) -> Fleet:
    fleet = make_fleet("ALD12", "QUA48")
    for key, days in FLUSHED_BEFORE.items():
        at = change_day - days * DAY + timedelta(hours=9)
        fleet.post(fleet.serviced(at - 20 * DAY, key), at=at - 20 * DAY)
        fleet.post(fleet.flushed(at, key), at=at)
    for user in (fleet.caretaker, make_person("mona", fleet.portfolio, "manager")):
        address = f"{user.username}@houses.example"
        Destination.objects.create(user=user, channel="email", address=address, made_at=at, confirmed_at=at)
    return fleet


def steps(change_day: datetime) -> Iterator[datetime]:
    """Two sweeps a day, from five days before to five days after."""
    at = change_day - 5 * DAY
    while at <= change_day + 5 * DAY:
        yield at
        at += STEP


def left() -> tuple[Any, ...]:
    """What a run is judged by: the alerts with when they held, and all conclusions."""
    alerts = Counter(Alert.objects.values_list("condition", "subject", "since", "until"))
    return alerts, {boiler.id: conclusions(boiler.id) | {"Alert": None} for boiler in Boiler.objects.all()}


def notices() -> Counter[tuple[Any, ...]]:
    """Who was told what and when. Of digests only when: two sweeps at once may share out otherwise what is new."""
    told = Counter(Notice.objects.exclude(kind="digest").values_list("user", "kind", "subject", "created_at"))
    return told + Counter(Notice.objects.filter(kind="digest").values_list("user", "kind", "created_at"))


def news() -> Counter[tuple[Any, ...]]:
    """How often each line was new to each reader of digests."""
    digests = Notice.objects.filter(kind="digest").values_list("user", "data__sections__New")
    return Counter((user, line) for user, lines in digests for line in lines or ())


@pytest.fixture
def undisturbed(fleet: Fleet, change_day: datetime) -> tuple[Any, ...]:
    """What is left after two sweeps a day. The database is as before afterwards."""
    with transaction.atomic():
        for at in steps(change_day):
            pipeline.sweep(at=at)
        found = (*left(), notices(), news())
        transaction.set_rollback(True)
    assert {condition for condition, *_ in found[0]} >= {"due", "lapsed"}
    assert found[2]
    assert found[3]
    return found


def test_beat_stopped_for_eight_days_over_the_change(
    fleet: Fleet, change_day: datetime, undisturbed: tuple[Any, ...]
) -> None:
    begins = change_day - 4 * DAY
    for at in steps(change_day):
        if not begins <= at < begins + QUIET:
            pipeline.sweep(at=at)
    assert left() == undisturbed[:2]
    assert pipeline.rebuild(at=change_day + 5 * DAY) == 0


def test_two_beats_at_once_over_the_change_raise_and_tell_once(
    fleet: Fleet, change_day: datetime, undisturbed: tuple[Any, ...]
) -> None:
    for at in steps(change_day):
        at_once(*[lambda at=at: pipeline.sweep(at=at)] * 2)
        pipeline.sweep(at=at)  # what each of the two left to the other, since it held the lock
    assert left() == undisturbed[:2]
    assert notices() == undisturbed[2]
    assert news() == undisturbed[3]  # nothing is new twice, and nothing never
    raised = Counter(Change.objects.filter(kind="alert.raised").values_list("subject", "at"))
    assert set(raised.values()) == {1}
    assert pipeline.rebuild(at=change_day + 5 * DAY) == 0


def test_what_time_alone_raises_begins_at_a_midnight_of_the_building_and_lasts_whole_days(
    fleet: Fleet, change_day: datetime
) -> None:
    for at in steps(change_day):
        pipeline.sweep(at=at)
    by_time = Alert.objects.exclude(boiler=None).filter(
        condition__in=("due", "lapsed"), since__gte=change_day - 5 * DAY
    )
    begins = {(alert.condition, alert.since.astimezone(NEW_YORK)) for alert in by_time}
    assert {(at.hour, at.minute, at.second) for _, at in begins} == {(0, 0, 0)}
    local = change_day.astimezone(NEW_YORK)
    due_days = {(at.date() - local.date()).days for condition, at in begins if condition == "due"}
    lapse_days = {(at.date() - local.date()).days for condition, at in begins if condition == "lapsed"}
    # A flush is due on the seventh day, told three days later, and lapses after thirty whole days.
    assert {0, 3} <= due_days
    assert 0 in lapse_days
