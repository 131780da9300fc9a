"""The wall display: every boiler's standing and glass, in one query and without model objects."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.board import glasses
from fleet.board.glasses import ShownGlass
from fleet.board.models import Segment
from fleet.board.queries import holds_at
from fleet.portfolio.models import Boiler

WALL_COLUMNS = (
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
    *(f"boiler__glass__{column}" for column in glasses.GLASS_COLUMNS),
)


@dataclass(frozen=True, slots=True)
class WallBoiler:
    """One boiler on the wall display."""

    building: UUID
    address: str
    zone: str
    boiler: UUID
    name: str
    ref: str
    standing: str
    rank: int
    glass: ShownGlass


def wall_boilers(boilers: QuerySet[Boiler], at: datetime, only: str = "") -> Iterator[WallBoiler]:
    """Yield the boilers at `at` (of the standing `only`, or all), the buildings by address, in one query."""
    segments = Segment.objects.filter(holds_at(at), boiler__in=boilers)
    segments = segments.filter(standing=only) if only else segments
    order = ("boiler__building__address", "boiler__building", "boiler__name", "boiler")
    for row in segments.order_by(*order).values_list(*WALL_COLUMNS):
        building, address, zone, boiler, name, ref, standing, rank, build, *glass_columns = row
        yield WallBoiler(
            building=building,
            address=address,
            zone=zone,
            boiler=boiler,
            name=name,
            ref=ref,
            standing=standing,
            rank=rank,
            glass=glasses.read_glass(build, tuple(glass_columns)),
        )
