"""The dates on which a proof becomes due and lapsed. Dates are local days of the building; a change takes effect at
the start of a day.

"Lapsed" is counted in two ways, on purpose:

* With a calendar interval, due + grace is the last good day, and the proof is lapsed from the start of the next day.
  With no grace, the due day itself is the last good day: proved 2025-03-03, every 7 days, due 2025-03-10,
  lapsed 2025-03-11 (published values, section 5).
* A season-anchored proof is lapsed from the start of the day due + grace. The worked examples settle this (domain,
  section 4): due 1 October with 30 days of grace is lapsed on 31 October, not 1 November. "Never later than 15 months"
  binds as an instant: proved 1 June 2025 is due *and* lapsed on 1 September 2026. One more day would break that bound.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from fleet.calendar.days import day_start
from fleet.calendar.months import Interval, add_months
from fleet.calendar.seasons import HeatingSeason

# Months from a proof. Domain, section 4: a season that starts less than 6 months after the proof is covered by
# it; no proof holds beyond 15 months.
SEASON_MIN_MONTHS: Final = 6
SEASON_MAX_MONTHS: Final = 15

FiringSpan = tuple[date, date | None]


@dataclass(frozen=True, slots=True)
class DueDates:
    """The first day on which a proof is due, and the first on which it is lapsed, which is never earlier."""

    due_on: date
    lapsed_on: date

    def __post_init__(self) -> None:
        """Raise ValueError if the proof would lapse before it is due: standing compares both with the same instant."""
        if self.lapsed_on < self.due_on:
            raise ValueError(f"lapsed on {self.lapsed_on}, before due on {self.due_on}")

    def due_at(self, zone: str) -> datetime:
        """Return the UTC instant from which the proof is due in the IANA `zone`."""
        return day_start(self.due_on, zone)

    def lapsed_at(self, zone: str) -> datetime:
        """Return the UTC instant from which the proof is lapsed in the IANA `zone`."""
        return day_start(self.lapsed_on, zone)


def calendar_due(proved: date, interval: Interval, grace_days: int) -> DueDates:
    """Return when a proof of the day `proved` is due by `interval`, and lapsed after `grace_days` (0 or more)."""
    due = interval.date_after(proved)
    return DueDates(due_on=due, lapsed_on=due + _grace_period(grace_days) + timedelta(days=1))


def season_due(proved: date, season: HeatingSeason, grace_days: int) -> DueDates:
    """Return when a yearly full proof is due and lapsed, anchored to the start of `season` (domain, section 4).

    The proof is due at the first season start at least 6 calendar months after `proved`, or 15 months after `proved` if
    that is sooner. It lapses `grace_days` (0 or more) later, and never later than the 15 months.
    """
    latest = add_months(proved, SEASON_MAX_MONTHS)
    start = season.first_start_on_or_after(add_months(proved, SEASON_MIN_MONTHS))
    due = min(start, latest)
    return DueDates(due_on=due, lapsed_on=min(due + _grace_period(grace_days), latest))


def nth_firing_day(after: date, n: int, firing: Sequence[FiringSpan]) -> date | None:
    """Return the `n`-th firing day (1 or more) counted from the day after `after`, or None if it never comes.

    `firing` holds half-open spans of local days, [from, to), in any order; None as an end means no end. A day in
    several spans counts once. ValueError for n < 1 or a span that ends before it begins.
    """
    if n < 1:
        raise ValueError(f"the firing days are counted from 1, not {n}")
    days_left, first_uncounted = n, after + timedelta(days=1)
    for begin, end in _sorted_spans(firing):
        begin = max(begin, first_uncounted)
        if end is None or days_left <= (end - begin).days:
            return begin + timedelta(days=days_left - 1)
        days_left -= max((end - begin).days, 0)
        first_uncounted = max(end, first_uncounted)
    return None


def _sorted_spans(firing: Iterable[FiringSpan]) -> list[FiringSpan]:
    """Return the spans ordered by their first day. ValueError for a span that ends before it begins."""
    for begin, end in firing:
        if end is not None and end < begin:
            raise ValueError(f"a firing span ends on {end}, before it begins on {begin}")
    return sorted(firing, key=lambda span: span[0])


def _grace_period(days: int) -> timedelta:
    """Return the grace as a timedelta. ValueError if negative: a proof would lapse before it is due."""
    if days < 0:
        raise ValueError(f"grace is 0 days or more, not {days}")
    return timedelta(days=days)
