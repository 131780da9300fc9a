"""Calendar months and written intervals."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calendar import Interval, add_months
from tests.calendar.cases import DAYS, INTERVALS


@pytest.mark.parametrize(
    ("day", "n", "expected"),
    [
        ("2025-01-31", 1, "2025-02-28"),
        ("2024-01-31", 1, "2024-02-29"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2024-02-29", 48, "2028-02-29"),
        ("2025-03-31", -1, "2025-02-28"),
        ("2025-01-15", -1, "2024-12-15"),
        ("2025-12-31", 2, "2026-02-28"),
        ("2025-05-31", 1, "2025-06-30"),
        ("2025-11-30", 1, "2025-12-30"),
        ("2025-12-01", 1, "2026-01-01"),
        ("2025-06-01", 15, "2026-09-01"),
        ("2025-06-01", 0, "2025-06-01"),
    ],
)
def test_months_are_calendar_months_clamped_to_the_last_day(day: str, n: int, expected: str) -> None:
    assert add_months(date.fromisoformat(day), n) == date.fromisoformat(expected)


@pytest.mark.parametrize(("day", "n"), [(date(9999, 12, 1), 1), (date(1, 1, 1), -1)])
def test_months_beyond_the_years_a_date_has_are_refused(day: date, n: int) -> None:
    with pytest.raises(ValueError, match="year"):
        add_months(day, n)


@given(DAYS, DAYS, st.integers(-240, 240))
def test_a_later_day_plus_months_is_never_earlier(one: date, other: date, n: int) -> None:
    first, second = sorted([one, other])
    assert add_months(first, n) <= add_months(second, n)


@given(DAYS, st.integers(-240, 240))
def test_there_and_back_loses_only_what_the_clamp_took(day: date, n: int) -> None:
    back = add_months(add_months(day, n), -n)
    assert (back.year, back.month) == (day.year, day.month)
    assert back == day or (back < day and day.day > 28)


@pytest.mark.parametrize(
    ("text", "day", "expected"),
    [
        ("1 d", "2024-02-28", "2024-02-29"),
        ("7 d", "2025-03-03", "2025-03-10"),
        ("1 w", "2025-12-29", "2026-01-05"),
        ("1 mo", "2025-01-31", "2025-02-28"),
        ("3 mo", "2025-11-30", "2026-02-28"),
        ("12 mo", "2024-02-29", "2025-02-28"),
    ],
)
def test_an_interval_leads_to_the_day_it_names(text: str, day: str, expected: str) -> None:
    assert Interval.parse(text).date_after(date.fromisoformat(day)) == date.fromisoformat(expected)


@pytest.mark.parametrize(
    "text",
    ["", "7", "d", "7d", "07 d", "0 d", "-1 d", "1.5 mo", "1 m", "1 y", "7 D", " 7 d", "7 d\n", "\u0667 d", "10000 d"],
)
def test_a_broken_interval_is_refused_with_its_text(text: str) -> None:
    with pytest.raises(ValueError) as caught:
        Interval.parse(text)
    assert repr(text) in str(caught.value)


@pytest.mark.parametrize(("count", "unit"), [(0, "day"), (-1, "week"), (10000, "month"), (1, "year")])
def test_an_interval_nobody_could_write_is_refused(count: int, unit: str) -> None:
    with pytest.raises(ValueError, match="not an interval"):
        Interval(count, unit)  # type: ignore[arg-type]


@given(INTERVALS)
def test_a_written_interval_is_read_back_the_same(interval: Interval) -> None:
    assert Interval.parse(str(interval)) == interval


@given(DAYS, DAYS, INTERVALS)
def test_a_later_day_is_never_due_earlier_by_an_interval(one: date, other: date, interval: Interval) -> None:
    first, second = sorted([one, other])
    assert first < interval.date_after(first) <= interval.date_after(second)
