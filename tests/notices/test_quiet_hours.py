"""Quiet hours: before, at and after their ends, across midnight, and across both changes of the clock."""

from datetime import UTC, datetime, time

import pytest

from fleet.notices.quiet_hours import end_of_quiet

NY = "America/New_York"


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


CASES = [
    # Within one day, winter: quiet from 12:00 to 13:00 EST.
    ("2026-01-12 16:59:59", time(12), time(13), "2026-01-12 16:59:59"),
    ("2026-01-12 17:00:00", time(12), time(13), "2026-01-12 18:00:00"),
    ("2026-01-12 17:59:59", time(12), time(13), "2026-01-12 18:00:00"),
    ("2026-01-12 18:00:00", time(12), time(13), "2026-01-12 18:00:00"),
    # Across midnight: from 22:00 to 06:30 EST.
    ("2026-01-13 02:59:59", time(22), time(6, 30), "2026-01-13 02:59:59"),
    ("2026-01-13 03:00:00", time(22), time(6, 30), "2026-01-13 11:30:00"),
    ("2026-01-13 05:00:00", time(22), time(6, 30), "2026-01-13 11:30:00"),
    ("2026-01-13 11:29:59", time(22), time(6, 30), "2026-01-13 11:30:00"),
    ("2026-01-13 11:30:00", time(22), time(6, 30), "2026-01-13 11:30:00"),
    # The night in which the clock skips 02:00 to 03:00 (8 March 2026): the end 02:30 comes as that hour ends.
    ("2026-03-08 05:00:00", time(22), time(2, 30), "2026-03-08 07:00:00"),
    ("2026-03-08 05:00:00", time(22), time(6, 30), "2026-03-08 10:30:00"),
    # The night in which 01:00 to 02:00 comes twice (1 November 2026): the end 01:30 comes the first time.
    ("2026-11-01 04:00:00", time(22), time(1, 30), "2026-11-01 05:30:00"),
    ("2026-11-01 06:10:00", time(22), time(1, 30), "2026-11-01 06:10:00"),  # 01:10 for the second time
    ("2026-11-01 04:00:00", time(22), time(6, 30), "2026-11-01 11:30:00"),
    # A leap day.
    ("2028-02-29 04:00:00", time(22), time(6), "2028-02-29 11:00:00"),
]


@pytest.mark.parametrize(("now", "begin", "end", "allowed"), CASES)
def test_what_does_not_interrupt_waits_for_the_end_of_the_quiet_hours(
    now: str, begin: time, end: time, allowed: str
) -> None:
    assert end_of_quiet(at(now), begin, end, NY) == at(allowed)


@pytest.mark.parametrize(("begin", "end"), [(None, None), (time(7), time(7))])
def test_without_quiet_hours_nothing_waits(begin: time | None, end: time | None) -> None:
    assert end_of_quiet(at("2026-01-12 03:00"), begin, end, NY) == at("2026-01-12 03:00")
