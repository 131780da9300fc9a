"""Counting firing days from the day after a proof."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calendar import nth_firing_day
from fleet.calendar.due import FiringSpan

PROVED = date(2026, 3, 1)


def span(begin: str, end: str | None) -> FiringSpan:
    return date.fromisoformat(begin), date.fromisoformat(end) if end else None


WINTER = span("2025-10-01", "2026-03-11")
NEXT_WINTER = span("2026-10-01", None)


@pytest.mark.parametrize(
    ("n", "firing", "expected"),
    [
        (1, [span("2025-10-01", None)], "2026-03-02"),
        (30, [span("2025-10-01", None)], "2026-03-31"),
        (1, [span("2026-03-01", None)], "2026-03-02"),
        # 2 to 10 March are nine days; the end of a span is not in it.
        (9, [WINTER, NEXT_WINTER], "2026-03-10"),
        (10, [WINTER, NEXT_WINTER], "2026-10-01"),
        (30, [WINTER, NEXT_WINTER], "2026-10-21"),
        (30, [NEXT_WINTER, WINTER], "2026-10-21"),
        (10, [WINTER], None),
        (1, [], None),
        (1, [span("2025-10-01", "2026-03-02")], None),
        (1, [span("2026-03-05", "2026-03-05")], None),
        # A day in two spans counts once; touching spans are one.
        (6, [span("2026-03-02", "2026-03-06"), span("2026-03-04", "2026-03-08")], "2026-03-07"),
        (6, [span("2026-03-02", "2026-03-10"), span("2026-03-03", "2026-03-04")], "2026-03-07"),
        (7, [span("2026-03-02", "2026-03-06"), span("2026-03-04", "2026-03-08")], None),
        (5, [span("2026-03-02", "2026-03-06"), span("2026-03-06", None)], "2026-03-06"),
    ],
)
def test_the_nth_firing_day_skips_the_proof_and_the_pauses(n: int, firing: list[FiringSpan], expected: str) -> None:
    assert nth_firing_day(PROVED, n, firing) == (date.fromisoformat(expected) if expected else None)


@pytest.mark.parametrize("n", [0, -1])
def test_counting_starts_at_one(n: int) -> None:
    with pytest.raises(ValueError, match="counted from 1"):
        nth_firing_day(PROVED, n, [NEXT_WINTER])


def test_a_span_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(ValueError, match="ends on 2026-03-01, before it begins on 2026-03-02"):
        nth_firing_day(PROVED, 1, [span("2026-03-02", "2026-03-01")])


def by_hand(after: date, n: int, firing: list[FiringSpan]) -> date | None:
    """Count day by day, as somebody with a paper calendar would."""
    for ahead in range(1, 400):
        day = after + timedelta(days=ahead)
        n -= any(begin <= day and (end is None or day < end) for begin, end in firing)
        if n == 0:
            return day
    return None


OFFSETS = st.integers(-40, 120)
SPANS = st.tuples(OFFSETS, st.none() | st.integers(0, 60)).map(
    lambda drawn: (
        PROVED + timedelta(days=drawn[0]),
        None if drawn[1] is None else PROVED + timedelta(days=drawn[0] + drawn[1]),
    )
)


@given(st.lists(SPANS, max_size=5), st.integers(1, 40))
def test_the_count_agrees_with_counting_day_by_day(firing: list[FiringSpan], n: int) -> None:
    assert nth_firing_day(PROVED, n, firing) == by_hand(PROVED, n, firing)
