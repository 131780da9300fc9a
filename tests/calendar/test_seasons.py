"""Heating seasons over New Year, within a year, and on 29 February."""

from datetime import date, timedelta

import pytest
from hypothesis import given

from fleet.calendar import HeatingSeason
from tests.calendar.cases import DAYS, SEASONS

HEATING = HeatingSeason(10, 1, 5, 15)
SUMMER = HeatingSeason(4, 1, 9, 30)
LEAP = HeatingSeason(2, 29, 2, 28)


@pytest.mark.parametrize(
    ("season", "day", "inside"),
    [
        (HEATING, "2026-09-30", False),
        (HEATING, "2026-10-01", True),
        (HEATING, "2026-12-31", True),
        (HEATING, "2027-01-01", True),
        (HEATING, "2027-05-15", True),
        (HEATING, "2027-05-16", False),
        (SUMMER, "2026-03-31", False),
        (SUMMER, "2026-04-01", True),
        (SUMMER, "2026-09-30", True),
        (SUMMER, "2026-10-01", False),
        (LEAP, "2024-02-28", True),
        (LEAP, "2024-02-29", True),
        (LEAP, "2025-02-28", True),
        (HeatingSeason(10, 1, 2, 29), "2025-02-28", True),
        (HeatingSeason(10, 1, 2, 29), "2025-03-01", False),
        (HeatingSeason(6, 1, 6, 1), "2025-06-01", True),
        (HeatingSeason(6, 1, 6, 1), "2025-06-02", False),
    ],
)
def test_a_season_holds_its_first_and_last_days(season: HeatingSeason, day: str, inside: bool) -> None:
    assert season.contains(date.fromisoformat(day)) is inside


@pytest.mark.parametrize(
    ("season", "day", "start"),
    [
        (HEATING, "2026-09-30", "2026-10-01"),
        (HEATING, "2026-10-01", "2026-10-01"),
        (HEATING, "2026-10-02", "2027-10-01"),
        (LEAP, "2025-02-28", "2025-02-28"),
        (LEAP, "2024-02-28", "2024-02-29"),
        (LEAP, "2024-03-01", "2025-02-28"),
    ],
)
def test_the_next_start_may_be_the_day_itself(season: HeatingSeason, day: str, start: str) -> None:
    assert season.first_start_on_or_after(date.fromisoformat(day)) == date.fromisoformat(start)


@pytest.mark.parametrize("wrong", [(6, 31, 9, 30), (10, 1, 2, 30), (0, 1, 5, 1), (13, 1, 5, 1), (10, 0, 5, 1)])
def test_a_month_day_no_year_has_is_refused(wrong: tuple[int, int, int, int]) -> None:
    with pytest.raises(ValueError, match="no such month and day"):
        HeatingSeason(*wrong)


@given(SEASONS, DAYS)
def test_a_start_lies_within_a_year_and_in_its_season(season: HeatingSeason, day: date) -> None:
    start = season.first_start_on_or_after(day)
    assert day <= start <= day + timedelta(days=366)
    assert season.contains(start)


@given(SEASONS, DAYS)
def test_no_start_lies_between_a_day_and_the_one_found(season: HeatingSeason, day: date) -> None:
    start = season.first_start_on_or_after(day)
    assert season.first_start_on_or_after(start) == start
    assert not any(day <= season.start_in(year) < start for year in (day.year, day.year + 1))
