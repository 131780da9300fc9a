"""Local days and their first instants, in zones that make it hard."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calendar import day_of, day_start
from tests.calendar.cases import DAYS, ZONES

NEW_YORK = "America/New_York"


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("instant", "zone", "day"),
    [
        ("2026-01-15T04:59:59.999999", NEW_YORK, "2026-01-14"),
        ("2026-01-15T05:00:00", NEW_YORK, "2026-01-15"),
        ("2026-07-15T03:59:59", NEW_YORK, "2026-07-14"),
        ("2026-07-15T04:00:00", NEW_YORK, "2026-07-15"),
        ("2026-01-15T00:00:00", "UTC", "2026-01-15"),
        ("2011-12-30T09:59:59", "Pacific/Apia", "2011-12-29"),
        ("2011-12-30T10:00:00", "Pacific/Apia", "2011-12-31"),
    ],
)
def test_an_instant_belongs_to_the_day_of_the_zone(instant: str, zone: str, day: str) -> None:
    assert day_of(utc(instant), zone) == date.fromisoformat(day)


def test_an_instant_in_another_zone_is_the_same_instant() -> None:
    in_tokyo = datetime(2026, 1, 15, 13, 59, tzinfo=timezone(timedelta(hours=9)))
    assert day_of(in_tokyo, NEW_YORK) == date(2026, 1, 14)


def test_a_naive_instant_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a time zone: 2026-01-15T00:00:00"):
        day_of(datetime(2026, 1, 15), NEW_YORK)  # noqa: DTZ001 — the fault under test


@pytest.mark.parametrize("name", ["Mars/Olympus", "America", "../etc/passwd", "", "/UTC", "a\0b"])
def test_an_unknown_zone_is_refused_by_name(name: str) -> None:
    with pytest.raises(ValueError, match="unknown time zone"):
        day_start(date(2026, 1, 15), name)


@pytest.mark.parametrize(
    ("day", "zone", "start"),
    [
        ("2026-01-15", NEW_YORK, "2026-01-15T05:00:00"),
        ("2026-07-15", NEW_YORK, "2026-07-15T04:00:00"),
        # Midnight does not exist: the clock goes from 00:00 to 01:00.
        ("2018-11-04", "America/Sao_Paulo", "2018-11-04T03:00:00"),
        ("2023-04-28", "Africa/Cairo", "2023-04-27T22:00:00"),
        ("2024-03-31", "Asia/Beirut", "2024-03-30T22:00:00"),
        # The gap runs over midnight, from 23:30 to 00:30: the day begins at 00:30.
        ("1919-03-31", "America/Toronto", "1919-03-31T04:30:00"),
        # Midnight happens twice: back from 00:01 to 23:01 the day before.
        ("2010-11-07", "America/St_Johns", "2010-11-07T02:30:00"),
        # Back from 24:00 to 23:00 the same day: one midnight, an hour later than usual.
        ("2018-02-18", "America/Sao_Paulo", "2018-02-18T03:00:00"),
        # Midnight happens twice: back from 01:00 to 00:00.
        ("2026-10-25", "Atlantic/Azores", "2026-10-25T00:00:00"),
        # A day that never was begins where the next one does.
        ("2011-12-30", "Pacific/Apia", "2011-12-30T10:00:00"),
        ("2011-12-31", "Pacific/Apia", "2011-12-30T10:00:00"),
        ("1993-08-21", "Pacific/Kwajalein", "1993-08-21T12:00:00"),
        ("1993-08-22", "Pacific/Kwajalein", "1993-08-21T12:00:00"),
    ],
)
def test_a_day_begins_at_its_first_existing_instant(day: str, zone: str, start: str) -> None:
    assert day_start(date.fromisoformat(day), zone) == utc(start)


@pytest.mark.parametrize(
    ("day", "zone", "hours"),
    [
        ("2026-03-07", NEW_YORK, 24),
        ("2026-03-08", NEW_YORK, 23),
        ("2026-03-09", NEW_YORK, 24),
        ("2026-11-01", NEW_YORK, 25),
        ("2026-10-04", "Australia/Lord_Howe", 23.5),
        ("2018-11-04", "America/Sao_Paulo", 23),
        ("2011-12-30", "Pacific/Apia", 0),
    ],
)
def test_a_day_is_as_long_as_its_zone_makes_it(day: str, zone: str, hours: float) -> None:
    first = date.fromisoformat(day)
    assert day_start(first + timedelta(days=1), zone) - day_start(first, zone) == timedelta(hours=hours)


def test_a_start_is_given_in_utc() -> None:
    assert day_start(date(2026, 1, 15), NEW_YORK).tzinfo is UTC


@given(DAYS, ZONES)
def test_the_start_of_a_day_is_on_that_day_or_past_a_skipped_one(day: date, zone: str) -> None:
    found = day_of(day_start(day, zone), zone)
    assert day <= found <= day + timedelta(days=1)


@given(DAYS, ZONES)
def test_just_before_the_start_it_is_an_earlier_day(day: date, zone: str) -> None:
    assert day_of(day_start(day, zone) - timedelta(microseconds=1), zone) < day


@given(DAYS, ZONES)
def test_starts_move_forward_unless_the_day_was_skipped(day: date, zone: str) -> None:
    start, following = day_start(day, zone), day_start(day + timedelta(days=1), zone)
    skipped = day_of(start, zone) > day
    assert following == start if skipped else following > start


@given(st.datetimes(datetime(1850, 1, 1), datetime(2150, 1, 1), timezones=st.just(UTC)), ZONES)  # noqa: DTZ001
def test_an_instant_is_never_before_the_start_of_its_own_day(instant: datetime, zone: str) -> None:
    assert day_start(day_of(instant, zone), zone) <= instant
