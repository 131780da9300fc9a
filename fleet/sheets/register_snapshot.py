"""A snapshot of the register for the buildings a sheet names, by natural key, in a fixed number of queries."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import QuerySet

from fleet.calendar import day_of
from fleet.portfolio.models import Boiler, Building, Fitting, Portfolio, Position, Setting
from fleet.sheets.register_sheet import SheetRow

NaturalKey = tuple[str, ...]
MAX_BUILDINGS_BY_REF = 500  # a sheet of more buildings is compared with the whole portfolio


class PlaceRecord(NamedTuple):
    """A position, with the columns that a sheet has."""

    id: UUID
    boiler: UUID
    ref: str
    name: str
    role: str


class RegisterOccupant(NamedTuple):
    """A device in its place since an instant. `kind` "": the place was emptied."""

    since: datetime
    kind: str
    device: UUID | None
    attributes: Mapping[str, object]
    declared: Mapping[str, str]


class DatedValue(NamedTuple):
    """A value and the instant since which it holds."""

    value: Any
    since: datetime


@dataclass(frozen=True, slots=True)
class PlaceFittings:
    """The devices that were ever in a place, by day and kind, and the present occupant."""

    ever: set[tuple[date, str]] = field(default_factory=set)
    present: list[RegisterOccupant] = field(default_factory=list)  # none or one

    @property
    def now(self) -> RegisterOccupant | None:
        """The occupant at the snapshot's instant; None before the first."""
        return self.present[0] if self.present else None


NO_FITTINGS = PlaceFittings()


@dataclass(frozen=True, slots=True)
class RegisterSnapshot:
    """The register at an instant. Settings are those in force, by (boiler or position, key)."""

    buildings: Mapping[NaturalKey, Building]
    boilers: Mapping[NaturalKey, Boiler]
    positions: Mapping[NaturalKey, PlaceRecord]
    settings: Mapping[tuple[UUID, str], DatedValue]
    fittings: Mapping[UUID, PlaceFittings]

    @classmethod
    def for_sheet(cls, portfolio: Portfolio, rows: Sequence[SheetRow], at: datetime) -> "RegisterSnapshot":
        """Read the buildings that the rows name, in six queries."""
        houses = Building.objects.filter(portfolio=portfolio)
        refs = {row.building_ref for row in rows}
        if len(refs) <= MAX_BUILDINGS_BY_REF:
            houses = houses.filter(ref__in=refs)
        return cls.for_boilers(Boiler.objects.filter(building__in=houses.values("id")), houses, at)

    @classmethod
    def for_boilers(cls, boilers: QuerySet[Boiler], houses: QuerySet[Building], at: datetime) -> "RegisterSnapshot":
        """Read these buildings with these of their boilers."""
        buildings = {b.id: b for b in houses}
        listed = list(boilers.order_by("id"))
        for boiler in listed:
            boiler.building = buildings[boiler.building_id]  # saves a query for each
        by_id = {b.id: b for b in listed}
        places = _read_places(by_id)
        zones = {p.id: by_id[p.boiler].building.zone for p in places}
        return cls(
            buildings={(b.ref,): b for b in buildings.values()},
            boilers={(b.building.ref, b.ref): b for b in listed},
            positions={(by_id[p.boiler].building.ref, by_id[p.boiler].ref, p.ref): p for p in places},
            settings=_read_settings(by_id, zones, at),
            fittings=_read_fittings(zones, at),
        )


# Each table is read by ids that are already known, never by joins: while a large sheet is not committed the server may
# count its tables as empty, and then plans joins of every row with every row.


def _read_places(boilers: Iterable[UUID]) -> list[PlaceRecord]:
    positions = Position.objects.filter(boiler__in=list(boilers)).order_by("id")
    return [PlaceRecord(*row) for row in positions.values_list("id", "boiler_id", "ref", "name", "role_id").iterator()]


def _read_settings(boilers: Iterable[UUID], places: Iterable[UUID], at: datetime) -> dict[tuple[UUID, str], DatedValue]:
    """Return the value in force of each key; of two statements about one instant the one posted later holds."""
    statements = Setting.objects.filter(since__lte=at).order_by("since", "posted_at")
    in_force: dict[tuple[UUID, str], DatedValue] = {}
    for place, rows in (("boiler_id", {"boiler__in": list(boilers)}), ("position_id", {"position__in": list(places)})):
        listed: Iterable[tuple[UUID, str, Any, datetime]] = statements.filter(**rows).values_list(
            place, "key", "value", "since"
        )
        in_force.update({(of, key): DatedValue(value, since) for of, key, value, since in listed})
    return in_force


def _read_fittings(zones: Mapping[UUID, str], at: datetime) -> dict[UUID, PlaceFittings]:
    """Return the fittings of the places in `zones`, which maps each place to its building's zone."""
    fittings = Fitting.objects.filter(position__in=list(zones)).order_by("since", "posted_at")
    rows = fittings.values_list(
        "position_id", "since", "device__kind_id", "device_id", "device__attributes", "declared"
    )
    by_place: dict[UUID, PlaceFittings] = {}
    for position, since, kind, device, attributes, declared in rows:
        fitted = by_place.setdefault(position, PlaceFittings())
        fitted.ever.add((day_of(since, zones[position]), kind or ""))
        if since <= at:
            fitted.present[:] = [
                RegisterOccupant(since, kind or "", device=device, attributes=attributes or {}, declared=declared)
            ]
    return by_place
