"""Segments in time become spans of local days: a day counts as what held when it ended."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest

from fleet.board.spans import Cut, Days, day_spans
from fleet.calendar import day_of, day_start

ZONE = "America/New_York"
FIRST = date(2026, 1, 1)


def local(day: int, hour: int, minute: int = 0) -> datetime:
    """An instant of January 2026 by the clock of the building, five hours west of Greenwich."""
    return datetime(2026, 1, day, hour, minute, tzinfo=UTC) + timedelta(hours=5)


@pytest.mark.parametrize(
    ("cuts", "spans"),
    [
        ([(None, None, "clear")], [(FIRST, None, "clear")]),
        # begun in the course of a day: that day counts as what it ended with
        (
            [(None, local(5, 9), "clear"), (local(5, 9), None, "hold")],
            [(FIRST, date(2026, 1, 5), "clear"), (date(2026, 1, 5), None, "hold")],
        ),
        # before, at and after midnight
        (
            [(None, local(5, 23, 59), "clear"), (local(5, 23, 59), None, "due")],
            [(FIRST, date(2026, 1, 5), "clear"), (date(2026, 1, 5), None, "due")],
        ),
        (
            [(None, local(6, 0), "clear"), (local(6, 0), None, "due")],
            [(FIRST, date(2026, 1, 6), "clear"), (date(2026, 1, 6), None, "due")],
        ),
        (
            [(None, local(6, 0, 1), "clear"), (local(6, 0, 1), None, "due")],
            [(FIRST, date(2026, 1, 6), "clear"), (date(2026, 1, 6), None, "due")],
        ),
        # over within the day: it never was, and what held before and after it is one
        (
            [(None, local(5, 9), "clear"), (local(5, 9), local(5, 17), "hold"), (local(5, 17), None, "clear")],
            [(FIRST, None, "clear")],
        ),
        # two of the same beside each other are one
        ([(None, local(5, 9), "hold"), (local(5, 9), None, "hold")], [(FIRST, None, "hold")]),
        # what ended before the first day does not count
        (
            [(None, datetime(2025, 6, 1, tzinfo=UTC), "off"), (datetime(2025, 6, 1, tzinfo=UTC), None, "clear")],
            [(FIRST, None, "clear")],
        ),
        # it ended: an end of the last day is known
        ([(local(3, 9), local(8, 9), "urgent")], [(date(2026, 1, 3), date(2026, 1, 8), "urgent")]),
        ([(local(3, 9), local(3, 10), "urgent")], []),
    ],
)
def test_a_day_counts_as_what_held_when_it_ended(cuts: list[Cut], spans: list[Days]) -> None:
    assert list(day_spans(cuts, FIRST, ZONE)) == spans


@pytest.mark.parametrize("zone", ["America/New_York", "Asia/Kolkata", "Pacific/Apia", "Africa/Cairo"])
def test_every_day_of_a_year_agrees_with_a_look_up_at_its_last_instant(zone: str) -> None:
    # Boundaries every 17 hours wander through all hours of the day, through both changes of the clocks.
    starts = [datetime(2025, 12, 20, tzinfo=UTC) + timedelta(hours=17 * n) for n in range(600)]
    cuts: list[Cut] = [(a, b, f"{n % 3}") for n, (a, b) in enumerate(pairwise(starts))]
    spans = list(day_spans(cuts, FIRST, zone))
    for number in range(365):
        day = FIRST + timedelta(days=number)
        ended = day_start(day + timedelta(days=1), zone) - timedelta(microseconds=1)
        expected = next(v for a, b, v in cuts if a and b and a <= ended < b)
        assert [v for a, b, v in spans if a <= day and (b is None or day < b)] == [expected], (day, day_of(ended, zone))
