"""Due and lapsed, by calendar interval and anchored to the season."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import given

from fleet.calendar import DueDates, HeatingSeason, Interval, add_months, calendar_due, season_due
from tests.calendar.cases import DAYS, GRACES, INTERVALS, SEASONS, ZONES

FIRST_OF_OCTOBER = HeatingSeason(10, 1, 5, 15)


def due(due: str, lapsed: str) -> DueDates:
    return DueDates(date.fromisoformat(due), date.fromisoformat(lapsed))


@pytest.mark.parametrize(
    ("proved", "interval", "grace", "expected"),
    [
        # Published values, section 5: clamp, leap year, and lapsed on the day after the due date.
        ("2025-01-31", "1 mo", 0, due("2025-02-28", "2025-03-01")),
        ("2024-02-29", "12 mo", 0, due("2025-02-28", "2025-03-01")),
        ("2025-03-03", "7 d", 0, due("2025-03-10", "2025-03-11")),
        # The default graces of the domain, section 4.
        ("2025-03-03", "1 d", 1, due("2025-03-04", "2025-03-06")),
        ("2025-03-03", "1 w", 3, due("2025-03-10", "2025-03-14")),
        ("2025-01-31", "1 mo", 7, due("2025-02-28", "2025-03-08")),
        ("2025-11-30", "3 mo", 14, due("2026-02-28", "2026-03-15")),
        ("2025-10-15", "12 mo", 30, due("2026-10-15", "2026-11-15")),
    ],
)
def test_by_interval_it_lapses_on_the_day_after_due_and_grace(
    proved: str, interval: str, grace: int, expected: DueDates
) -> None:
    assert calendar_due(date.fromisoformat(proved), Interval.parse(interval), grace) == expected


@pytest.mark.parametrize(
    ("proved", "grace", "expected"),
    [
        # The worked examples of the domain, section 4.
        ("2025-10-15", 30, due("2026-10-01", "2026-10-31")),
        ("2026-01-15", 30, due("2026-10-01", "2026-10-31")),
        ("2025-06-01", 30, due("2026-09-01", "2026-09-01")),
        # Six months to the day are enough; a day less is not, and then 15 months come first.
        ("2026-03-31", 30, due("2026-10-01", "2026-10-31")),
        ("2026-04-01", 30, due("2026-10-01", "2026-10-31")),
        ("2026-04-02", 30, due("2027-07-02", "2027-07-02")),
        # From July on the season start of next year is within 15 months; grace gets no further than they do.
        ("2025-06-30", 30, due("2026-09-30", "2026-09-30")),
        ("2025-07-01", 30, due("2026-10-01", "2026-10-01")),
        ("2025-07-15", 30, due("2026-10-01", "2026-10-15")),
        ("2025-07-31", 30, due("2026-10-01", "2026-10-31")),
        # No grace: due and lapsed with the season.
        ("2025-10-15", 0, due("2026-10-01", "2026-10-01")),
    ],
)
def test_a_yearly_proof_is_anchored_to_the_season(proved: str, grace: int, expected: DueDates) -> None:
    assert season_due(date.fromisoformat(proved), FIRST_OF_OCTOBER, grace) == expected


def test_a_season_that_starts_on_29_february_is_due_on_the_28th_in_other_years() -> None:
    assert season_due(date(2024, 3, 10), HeatingSeason(2, 29, 9, 30), 30) == due("2025-02-28", "2025-03-30")


def test_the_changes_come_at_the_start_of_the_local_day() -> None:
    found = due("2026-10-31", "2026-11-02")
    assert found.due_at("America/New_York") == datetime(2026, 10, 31, 4, tzinfo=UTC)
    assert found.lapsed_at("America/New_York") == datetime(2026, 11, 2, 5, tzinfo=UTC)


def test_lapsed_before_due_is_refused() -> None:
    with pytest.raises(ValueError, match="lapsed on 2026-09-30, before due on 2026-10-01"):
        due("2026-10-01", "2026-09-30")


def test_a_negative_grace_is_refused() -> None:
    with pytest.raises(ValueError, match="not -1"):
        calendar_due(date(2025, 3, 3), Interval(7, "day"), -1)
    with pytest.raises(ValueError, match="not -1"):
        season_due(date(2025, 3, 3), FIRST_OF_OCTOBER, -1)


@given(DAYS, DAYS, INTERVALS, GRACES)
def test_a_later_proof_never_counts_for_less_by_interval(one: date, other: date, every: Interval, grace: int) -> None:
    first, second = (calendar_due(day, every, grace) for day in sorted([one, other]))
    assert first.due_on <= second.due_on
    assert first.lapsed_on <= second.lapsed_on


@given(DAYS, DAYS, SEASONS, GRACES)
def test_a_later_proof_never_counts_for_less_by_season(
    one: date, other: date, season: HeatingSeason, grace: int
) -> None:
    first, second = (season_due(day, season, grace) for day in sorted([one, other]))
    assert first.due_on <= second.due_on
    assert first.lapsed_on <= second.lapsed_on


@given(DAYS, SEASONS, GRACES)
def test_a_season_anchored_proof_holds_between_6_and_15_months(proved: date, season: HeatingSeason, grace: int) -> None:
    found = season_due(proved, season, grace)
    assert add_months(proved, 6) <= found.due_on <= found.lapsed_on <= add_months(proved, 15)


@given(DAYS, SEASONS, GRACES, ZONES)
def test_due_never_comes_after_lapsed_in_any_zone(proved: date, season: HeatingSeason, grace: int, zone: str) -> None:
    found = season_due(proved, season, grace)
    assert found.due_at(zone) <= found.lapsed_at(zone)
