"""How much make-up water some boilers used, month by month, by their meters' readings."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from fleet.calendar import day_of, day_start
from fleet.engineering.makeup import MeterReading, water_uses
from fleet.errors import Refused
from fleet.figures.days import around_days
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler, Position
from fleet.rules.values import as_number
from fleet.visits import places as visit_places
from fleet.visits.models import Entry
from fleet.visits.places import Stay

DAY = timedelta(days=1)
LOOKBACK = timedelta(days=62)  # the last reading before the first day bounds its use


@dataclass(frozen=True, slots=True)
class MakeupMonth:
    """A calendar month: gallons used, over how many meter-days, by how many meters."""

    first: date
    gallons: float
    days: float
    meters: int

    @property
    def gallons_a_day(self) -> float | None:
        """The average of one meter; None where no period is known."""
        return self.gallons / self.days if self.days else None


def makeup_per_month(boilers: QuerySet[Boiler], first: date, last: date) -> list[MakeupMonth]:
    """Return each month of these days, the oldest first: four queries. Use between two readings is spread evenly.

    A period whose use cannot be known (a meter replaced, a figure that went back) adds neither gallons nor days.
    """
    meters = register.positions_of(boilers).filter(role="makeup_meter")
    places = {p.id: p for p in meters.select_related("boiler__building", "header_group__building")}
    stays = visit_places.stays_at_places(places, datetime.combine(last + DAY, datetime.min.time(), ZoneInfo("UTC")))
    parts_by_month: dict[date, list[tuple[UUID, float, float]]] = defaultdict(list)
    for place, readings in _meter_readings(places, first, last).items():
        for early, late in pairwise(readings):
            for month, gallons, days in _spread_by_month(early, late, stays.get(place, []), _zone_of(places[place])):
                parts_by_month[month].append((place, gallons, days))
    return [_sum_month(month, parts_by_month[month]) for month in _months_between(first, last)]


def _meter_readings(
    places: Mapping[UUID, Position], first: date, last: date
) -> dict[UUID, list[tuple[datetime, float]]]:
    rows = visit_places.standing_entries(
        Entry.objects.filter(around_days("performed_at", first - LOOKBACK, last), position__in=list(places))
    )
    entries = rows.filter(act="test", code="meter_reading", readings__name="reading", readings__number__isnull=False)
    by_place: dict[UUID, list[tuple[datetime, float]]] = defaultdict(list)
    ordered = entries.order_by("performed_at", "visit_id", "number")
    for place, at, value in ordered.values_list("position", "performed_at", "readings__number"):
        if value is not None:  # the query asks for rows with a number only
            by_place[place].append((at, value))
    return by_place


def _spread_by_month(
    early: tuple[datetime, float], late: tuple[datetime, float], stays: Sequence[Stay], zone: str
) -> Iterator[tuple[date, float, float]]:
    """Yield the month, gallons and days of the use between two readings, by months in the building's local time."""
    gallons = _gallons_between(early, late, stays) if late[0] > early[0] else None
    if gallons is None:
        return
    whole, begin = late[0] - early[0], early[0]
    while begin < late[0]:
        month = day_of(begin, zone).replace(day=1)
        end = min(day_start(_next_month(month), zone), late[0])
        yield month, gallons * ((end - begin) / whole), (end - begin) / DAY
        begin = end


def _gallons_between(
    early: tuple[datetime, float], late: tuple[datetime, float], stays: Sequence[Stay]
) -> float | None:
    there = [next((s.device for s in reversed(stays) if s.since <= at), None) for at, _ in (early, late)]
    turns: Any = there[1].attributes.get("rolls_over_gal") if there[1] else None
    days = (late[0] - early[0]) / DAY
    points = [MeterReading(0.0, early[1], str(there[0])), MeterReading(days, late[1], str(there[1]))]
    try:
        return water_uses(points, as_number(turns))[0].gallons
    except Refused:
        return None


def _sum_month(first: date, parts: Sequence[tuple[UUID, float, float]]) -> MakeupMonth:
    return MakeupMonth(first, sum(p[1] for p in parts), sum(p[2] for p in parts), len({p[0] for p in parts}))


def _months_between(first: date, last: date) -> Iterator[date]:
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = _next_month(month)


def _next_month(day: date) -> date:
    return (day.replace(day=1) + 32 * DAY).replace(day=1)


def _zone_of(place: Position) -> str:
    owner = place.boiler or place.header_group
    assert owner is not None  # the table has a constraint
    return owner.building.zone
