"""The wall display: every boiler's standing and glass, in one query and without model objects."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.board import glasses
from fleet.board.glasses import Glass
from fleet.board.models import Segment
from fleet.board.queries import holds_at
from fleet.portfolio.models import Boiler

COLUMNS = (
    "boiler__building",
    "boiler__building__address",
    "boiler__building__zone",
    "boiler",
    "boiler__name",
    "boiler__ref",
    "standing",
    "rank",
    "boiler__judged__build",
    "boiler__glass__id",
    *(f"boiler__glass__{column}" for column in glasses.COLUMNS),
)


@dataclass(frozen=True, slots=True)
class Hung:
    """One boiler on the wall display."""

    building: UUID
    address: str
    zone: str
    boiler: UUID
    name: str
    ref: str
    standing: str
    rank: int
    glass: Glass


def hung(boilers: QuerySet[Boiler], at: datetime, only: str = "") -> Iterator[Hung]:
    """Yield the boilers at `at` (of the standing `only`, or all), the buildings by address, in one query."""
    found = Segment.objects.filter(holds_at(at), boiler__in=boilers)
    found = found.filter(standing=only) if only else found
    order = ("boiler__building__address", "boiler__building", "boiler__name", "boiler")
    for row in found.order_by(*order).values_list(*COLUMNS):
        yield Hung(*row[:8], glasses.read(row[8], row[9:]))
