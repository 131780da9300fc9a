"""How long deficiencies took from opened to closed, by present knowledge."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil
from uuid import UUID

from django.db.models import QuerySet

from fleet.deficiencies.models import Deficiency
from fleet.figures.days import around_days, local_day
from fleet.portfolio.models import Boiler
from fleet.rules.values import LEVELS, worst_level


@dataclass(frozen=True, slots=True)
class Repair:
    """One closed deficiency; `level` is the worst class it had."""

    deficiency: UUID
    boiler: UUID
    rule: str
    level: str
    opened_at: datetime
    closed_at: datetime

    @property
    def duration(self) -> timedelta:
        """The time from opened to closed; a repair that was only claimed does not end it."""
        return self.closed_at - self.opened_at


@dataclass(frozen=True, slots=True)
class RepairTimes:
    """The times of some repairs: half took no longer than `median`, nine in ten no longer than `ninth_tenth`."""

    count: int
    median: timedelta | None
    ninth_tenth: timedelta | None
    shortest: timedelta | None = None
    longest: timedelta | None = None


def closed_repairs(boilers: QuerySet[Boiler], first: date, last: date) -> list[Repair]:
    """Return every deficiency closed on these local days, in the order closed: one query."""
    closed = Deficiency.objects.filter(around_days("closed_at", first, last), boiler__in=boilers, withdrawn=False)
    rows = closed.annotate(day=local_day("closed_at")).filter(day__range=(first, last)).order_by("closed_at", "id")
    return [
        Repair(d.id, d.boiler_id, rule=d.rule, level=_worst_level(d), opened_at=d.opened_at, closed_at=d.closed_at)
        for d in rows
        if d.closed_at
    ]


def _worst_level(row: Deficiency) -> str:
    return worst_level(segment["level"] for segment in row.levels)


def repair_times_by_class(repairs: Iterable[Repair]) -> dict[str, RepairTimes]:
    """Return the times of repairs by the worst class each had."""
    listed = list(repairs)
    return {level: repair_times([r for r in listed if r.level == level]) for level in LEVELS}


def repair_times(repairs: list[Repair]) -> RepairTimes:
    """Return the times of repairs. Quantiles are by nearest rank, so that each figure is the time of a real repair."""
    times = sorted(r.duration for r in repairs)
    median, ninth = (times[ceil(share * len(times)) - 1] if times else None for share in (0.5, 0.9))
    return RepairTimes(
        len(times), median, ninth_tenth=ninth, shortest=min(times, default=None), longest=max(times, default=None)
    )


def open_times_by_class(boilers: QuerySet[Boiler], at: datetime) -> dict[str, list[timedelta]]:
    """Return how long the open deficiencies have been open at `at`, by the worst class each had: one query."""
    waiting = Deficiency.objects.filter(boiler__in=boilers, withdrawn=False, closed_at=None, opened_at__lte=at)
    times: dict[str, list[timedelta]] = {level: [] for level in LEVELS}
    for row in waiting:
        times[_worst_level(row)].append(at - row.opened_at)
    return times
