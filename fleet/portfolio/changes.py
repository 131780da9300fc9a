"""A sheet against the register: what it would change that cannot be changed, and what it names anew."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.calendar import day_start
from fleet.errors import Fault
from fleet.portfolio.models import Boiler, Building, Portfolio, Position, Setting
from fleet.portfolio.news import News
from fleet.portfolio.sheet import SheetRow, circling

Key = tuple[str, ...]
SHORT = 32  # of before and after in the log; the sentence has them whole


@dataclass(frozen=True, slots=True)
class Known:
    """What the register holds of the buildings a sheet names, by natural key."""

    buildings: Mapping[Key, Building]
    boilers: Mapping[Key, Boiler]
    positions: Mapping[Key, Position]

    @classmethod
    def of(cls, portfolio: Portfolio, rows: Sequence[SheetRow]) -> "Known":
        """Read it, in three queries."""
        refs = {row.building_ref for row in rows}
        boilers = Boiler.objects.filter(portfolio=portfolio, building__ref__in=refs).select_related("building")
        positions = Position.objects.filter(boiler__in=boilers).select_related("boiler__building")
        return cls(
            {(b.ref,): b for b in Building.objects.filter(portfolio=portfolio, ref__in=refs)},
            {(b.building.ref, b.ref): b for b in boilers},
            {(p.boiler.building.ref, p.boiler.ref, p.ref): p for p in positions if p.boiler},
        )


def faults(known: Known, rows: Sequence[SheetRow]) -> list[Fault]:
    """A fault for each cell that says otherwise of what is fixed: evidence was judged by it."""
    return [*(f for row in rows for f in _fixed(known, row)), *_loops(known, rows)]


def _fixed(known: Known, row: SheetRow) -> Iterator[Fault]:
    building, boiler = known.buildings.get((row.building_ref,)), known.boilers.get(row.boiler_key)
    position = known.positions.get((*row.boiler_key, row.position_ref))
    if building and building.zone != row.zone:
        yield Fault("zone_fixed", f"This building's days are those of {building.zone}.", (row.line, "zone"))
    if boiler and building and boiler.since != day_start(row.since, building.zone):
        yield Fault("since_fixed", f"The boiler is on record since {boiler.since.isoformat()}.", (row.line, "since"))
    if position and position.role_id != row.role:
        told = f"This position is a {position.role_id}: another role is another position."
        yield Fault("role_fixed", told, (row.line, "role"))


def _loops(known: Known, rows: Sequence[SheetRow]) -> Iterator[Fault]:
    """A path of this sheet that closes a circle with one the register holds already."""
    names = {str(p.id): key for key, p in known.positions.items()}
    said = Setting.objects.filter(position__in=[p.id for p in known.positions.values()], key="paths")
    stored = dict(said.order_by("since", "posted_at").values_list("position", "value"))
    paths = {key: [names[ref] for ref in stored.get(p.id, ()) if ref in names] for key, p in known.positions.items()}
    for row in rows:
        key = (*row.boiler_key, row.position_ref)
        # An empty cell says nothing of a path that is on record.
        paths[key] = [(*row.boiler_key, ref) for ref in row.hangs_on] or paths.get(key, [])
    circle = circling(paths)
    for row in rows:
        if row.hangs_on and (*row.boiler_key, row.position_ref) in circle:
            yield Fault("path_loops", "With what is on record its path runs in a circle.", (row.line, "hangs_on"))


def renames(known: Known, rows: Sequence[SheetRow], at: datetime) -> list[News]:
    """What the sheet names anew, each once."""
    found: dict[tuple[UUID, str], News] = {}
    for row in rows:
        building, boiler = known.buildings.get((row.building_ref,)), known.boilers.get(row.boiler_key)
        position = known.positions.get((*row.boiler_key, row.position_ref))
        if building and building.address != row.address:
            found[building.id, "address"] = _renamed(building.id, None, building.address, row.address, at)
        if building and building.units != row.units:
            found[building.id, "units"] = _units(building, row.units, at)
        if building and row.access_hours not in (None, building.access_hours):
            found[building.id, "access_hours"] = _hours(building, row.access_hours or "", at)
        if boiler and boiler.name != row.boiler_name:
            found[boiler.id, "name"] = _renamed(boiler.id, boiler.id, boiler.name, row.boiler_name, at)
        if position and position.name != row.position_name:
            found[position.id, "name"] = _renamed(position.id, position.boiler_id, position.name, row.position_name, at)
    return list(found.values())


def _renamed(subject: UUID, boiler: UUID | None, before: str, after: str, at: datetime) -> News:
    sentence = f"“{before}” is called “{after}” now."
    return News("register.renamed", subject, boiler, _short(before), _short(after), sentence, "", at)


def _units(building: Building, units: int, at: datetime) -> News:
    sentence = f"{building.address} has {units} dwelling units, not {building.units}."
    return News("register.renamed", building.id, None, str(building.units), str(units), sentence, "", at)


def _hours(building: Building, hours: str, at: datetime) -> News:
    sentence = f"{building.address} can be entered {hours or 'at any time'} now."
    return News("register.renamed", building.id, None, _short(building.access_hours), _short(hours), sentence, "", at)


def _short(text: str) -> str:
    return text if len(text) <= SHORT else text[: SHORT - 1] + "…"
