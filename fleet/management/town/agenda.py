"""The agenda of a boiler before anything fails: services, shutdowns, weekly checks, forgotten weeks."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from fleet.management.town.chance import Chance
from fleet.management.town.season import day_of, local_time, next_workday, years_between
from fleet.management.town.story_values import TownBoiler

WEEK_DAYS, MONTH_DAYS = 7, 28


@dataclass(order=True, slots=True)
class AgendaItem:
    """Something to be done: its kind and its subject. Items are ordered by time, then by order of planning."""

    at: datetime
    number: int
    what: str = field(compare=False)
    about: object = field(compare=False, default=None)


@dataclass(frozen=True, slots=True)
class CaretakerHabits:
    """A caretaker's habits.

    `every_days`: days between checks. `forgets`: share of checks after which weeks are forgotten. `by_month`: checks
    are posted together at the month's end. `hour`: hour of the day.
    """

    every_days: int
    forgets: float
    by_month: bool
    hour: int

    @classmethod
    def draw_habits(cls, chance: Chance, *, by_month: bool) -> "CaretakerHabits":
        """Draw the habits of one caretaker."""
        every, forgets = chance.one_of((6, 6, 6, 7)), chance.one_of((0.01, 0.02, 0.04, 0.10))
        return cls(every, forgets, by_month, chance.whole_number(6, 10))


def planned_visits(
    chance: Chance, boiler: TownBoiler, begin: datetime, end: datetime
) -> Iterator[tuple[datetime, str]]:
    """Yield instant and kind of each service and shutdown. The first is the visit that takes the boiler over."""
    first = next_workday(day_of(begin) + timedelta(days=chance.whole_number(0, 20)))
    yield local_time(first, chance.whole_number(8, 13)), "service"
    for year in years_between(day_of(begin), day_of(end)):
        for day, item_name in _visits_of_year(chance, boiler, year):
            at = local_time(next_workday(day), chance.whole_number(7, 14), chance.one_of((0, 15, 30, 45)))
            if at > local_time(first, 23) and at < end:
                yield at, item_name


def _visits_of_year(chance: Chance, boiler: TownBoiler, year: int) -> Iterator[tuple[date, str]]:
    is_tardy = chance.happens(0.12)
    start = date(year, 10, 3) + timedelta(days=chance.whole_number(0, 40)) if is_tardy else date(year, 9, 4)
    yield (
        start + timedelta(days=0 if is_tardy else chance.whole_number(0, 24)),
        "start" if boiler.seasonal else "service",
    )
    yield date(year, 2, 5) + timedelta(days=chance.whole_number(0, 35)), "midseason"
    if boiler.seasonal:
        yield date(year, 6, 1) + timedelta(days=chance.whole_number(0, 9)), "shutdown"


def check_times(
    chance: Chance, habits: CaretakerHabits, begin: datetime, end: datetime, paper: datetime
) -> Iterator[datetime]:
    """Yield the instants of the caretaker's checks, without forgotten weeks.

    Until `paper` checks were written into a book, of which one a month was entered later.
    """
    day, skipped = day_of(begin) + timedelta(days=chance.whole_number(1, WEEK_DAYS)), 0
    while (at := local_time(day, habits.hour, chance.whole_number(0, 50))) < end:
        skipped = skipped - 1 if skipped else chance.whole_number(1, 5) if chance.happens(habits.forgets) else 0
        if not skipped:
            yield at
        day += timedelta(days=MONTH_DAYS if at < paper else habits.every_days)


def posting_time(habits: CaretakerHabits, chance: Chance, at: datetime) -> datetime:
    """Return when a check is posted: soon after it, or with the whole month's sheet."""
    if not habits.by_month:
        return at + timedelta(minutes=chance.whole_number(5, 90))
    day = day_of(at)
    following = date(day.year + day.month // 12, day.month % 12 + 1, 1)
    return local_time(following, 11, chance.whole_number(0, 40))
