"""The agenda of a boiler before anything fails: services, shutdowns, weekly checks, forgotten weeks."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.season import clock, day_of, workday, years
from fleet.management.town.told import Boiler

WEEK, A_MONTH = 7, 28


@dataclass(order=True, slots=True)
class Item:
    """Something to be done: its kind and its subject. Items are ordered by time, then by order of planning."""

    at: datetime
    number: int
    what: str = field(compare=False)
    about: object = field(compare=False, default=None)


@dataclass(frozen=True, slots=True)
class Habits:
    """A caretaker's habits.

    `every_days`: days between checks. `forgets`: share of checks after which weeks are forgotten. `by_month`: checks
    are posted together at the month's end. `hour`: hour of the day.
    """

    every_days: int
    forgets: float
    by_month: bool
    hour: int

    @classmethod
    def of(cls, chance: Chance, *, by_month: bool) -> "Habits":
        """Draw the habits of one caretaker."""
        every, forgets = chance.one_of((6, 6, 6, 7)), chance.one_of((0.01, 0.02, 0.04, 0.10))
        return cls(every, forgets, by_month, chance.whole(6, 10))


def planned(chance: Chance, boiler: Boiler, begin: datetime, end: datetime) -> Iterator[tuple[datetime, str]]:
    """Yield instant and kind of each service and shutdown. The first is the visit that takes the boiler over."""
    first = workday(day_of(begin) + timedelta(days=chance.whole(0, 20)))
    yield clock(first, chance.whole(8, 13)), "service"
    for year in years(day_of(begin), day_of(end)):
        for day, what in _of_year(chance, boiler, year):
            at = clock(workday(day), chance.whole(7, 14), chance.one_of((0, 15, 30, 45)))
            if at > clock(first, 23) and at < end:
                yield at, what


def _of_year(chance: Chance, boiler: Boiler, year: int) -> Iterator[tuple[date, str]]:
    tardy = chance.happens(0.12)
    start = date(year, 10, 3) + timedelta(days=chance.whole(0, 40)) if tardy else date(year, 9, 4)
    yield start + timedelta(days=0 if tardy else chance.whole(0, 24)), "start" if boiler.seasonal else "service"
    yield date(year, 2, 5) + timedelta(days=chance.whole(0, 35)), "midseason"
    if boiler.seasonal:
        yield date(year, 6, 1) + timedelta(days=chance.whole(0, 9)), "shutdown"


def checks(chance: Chance, habits: Habits, begin: datetime, end: datetime, paper: datetime) -> Iterator[datetime]:
    """Yield the instants of the caretaker's checks, without forgotten weeks.

    Until `paper` checks were written into a book, of which one a month was entered later.
    """
    day, skipped = day_of(begin) + timedelta(days=chance.whole(1, WEEK)), 0
    while (at := clock(day, habits.hour, chance.whole(0, 50))) < end:
        skipped = skipped - 1 if skipped else chance.whole(1, 5) if chance.happens(habits.forgets) else 0
        if not skipped:
            yield at
        day += timedelta(days=A_MONTH if at < paper else habits.every_days)


def posted(habits: Habits, chance: Chance, at: datetime) -> datetime:
    """Return when a check is posted: soon after it, or with the whole month's sheet."""
    if not habits.by_month:
        return at + timedelta(minutes=chance.whole(5, 90))
    day = day_of(at)
    following = date(day.year + day.month // 12, day.month % 12 + 1, 1)
    return clock(following, 11, chance.whole(0, 40))
