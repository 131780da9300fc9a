"""The register as a sheet. Importing it changes nothing. It holds the register's own facts, not those of visits."""

from collections.abc import Iterator
from datetime import datetime
from itertools import islice
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from fleet.calendar import day_of
from fleet.portfolio.models import Boiler, Building, Fitting, Portfolio
from fleet.rules.catalogue import Catalogue
from fleet.sheets import columns
from fleet.sheets.register_snapshot import NO_FITTINGS, PlaceRecord, RegisterOccupant, RegisterSnapshot

BOILERS_PER_BATCH = 250  # boilers read at once
EXAMPLE_BOILER = {
    "building_ref": "MAPLE7",
    "address": "7 Maple Court",
    "zone": "America/New_York",
    "units": 24,
    "access_hours": "mon-fri 08:00-17:00",
    "latitude_deg": 40.5212,
    "longitude_deg": -74.0341,
    "boiler_ref": "B1",
    "boiler_name": "Boiler 1",
    "since": "2021-09-15",
}
EXAMPLE_PLACES: tuple[dict[str, object], ...] = (
    {
        "position_ref": "siphon",
        "position_name": "siphon",
        "role": "siphon",
        "kind": "siphon",
        "fitted_on": "2021-09-15",
    },
    {
        "position_ref": "limit",
        "position_name": "high limit",
        "role": "high_limit",
        "hangs_on": "siphon",
        "kind": "limit_control",
        "fitted_on": "2021-09-15",
        "set_psi": 8,
        "reset": "manual",
    },
)


def header_columns(portfolio: Portfolio | None, catalogue: Catalogue) -> list[str]:
    """Return the columns of a sheet: the fixed ones, then those stamped, set or declared in this portfolio."""
    fitted = Fitting.objects.filter(portfolio=portfolio) if portfolio else Fitting.objects.none()
    kinds = fitted.filter(device__isnull=False).values_list("device__kind_id", flat=True).distinct().order_by()
    kinds_present = set(kinds) if portfolio else catalogue.kinds.keys()
    stamped = {a for code, kind in catalogue.kinds.items() if code in kinds_present for a in kind.attributes} - {
        "fitted_on"
    }
    declared_codes = {
        code for d in fitted.exclude(declared={}).values_list("declared", flat=True).iterator() for code in d
    }
    declared = sorted(declared_codes & set(columns.declarable_procedures(catalogue)))
    return [*FIXED_COLUMNS, *sorted(stamped), *(columns.DECLARED_PREFIX + code for code in declared)]


FIXED_COLUMNS = (
    "portfolio_ref",
    *("building_ref", "address", "zone", "units", "access_hours"),
    *columns.COORDINATES,
    *("boiler_ref", "boiler_name", "since", *columns.ON_BOILER),
    *columns.ON_POSITION,
)


def example_rows(catalogue: Catalogue) -> Iterator[list[Any]]:
    """Yield an example sheet: every column, and two rows to write over."""
    names = header_columns(None, catalogue)
    yield names
    for row in EXAMPLE_PLACES:
        cells = {**EXAMPLE_BOILER, **row}
        yield [cells.get(name, "") for name in names]


def sheet_rows(
    *, portfolio: Portfolio, boilers: QuerySet[Boiler], catalogue: Catalogue, at: datetime
) -> Iterator[list[Any]]:
    """Yield the columns and then the rows of these boilers at an instant, reading a few hundred boilers at a time."""
    names = header_columns(portfolio, catalogue)
    yield names
    ordered_ids = boilers.filter(portfolio=portfolio).order_by("building__ref", "ref").values_list("id", flat=True)
    ids: Iterator[UUID] = iter(list(ordered_ids))
    while batch := list(islice(ids, BOILERS_PER_BATCH)):
        inside = Boiler.objects.filter(id__in=batch)
        houses = Building.objects.filter(boilers__in=batch).distinct()
        for cells in _place_rows(portfolio, RegisterSnapshot.for_boilers(inside, houses, at), catalogue):
            yield [cells.get(name, "") for name in names]


def _place_rows(portfolio: Portfolio, register: RegisterSnapshot, catalogue: Catalogue) -> Iterator[dict[str, object]]:
    places: dict[UUID, list[PlaceRecord]] = {boiler.id: [] for boiler in register.boilers.values()}
    for place in register.positions.values():
        places[place.boiler].append(place)
    for _, boiler in sorted(register.boilers.items()):
        boiler_places = sorted(places[boiler.id], key=lambda p: p.ref)
        refs = {str(p.id): p.ref for p in boiler_places}
        cells = _boiler_cells(portfolio, boiler, register)
        for place in boiler_places:
            yield {
                **cells,
                **_place_cells(place, refs, register=register, zone=boiler.building.zone, catalogue=catalogue),
            }
        if not boiler_places:
            yield cells


def _boiler_cells(portfolio: Portfolio, boiler: Boiler, register: RegisterSnapshot) -> dict[str, object]:
    building = boiler.building
    settings = {key: register.settings.get((boiler.id, key)) for key in columns.ON_BOILER}
    return {
        "portfolio_ref": portfolio.ref,
        "building_ref": building.ref,
        "address": building.address,
        "zone": building.zone,
        "units": building.units,
        "access_hours": building.access_hours,
        **{column: getattr(building, column) for column in columns.COORDINATES},
        "boiler_ref": boiler.ref,
        "boiler_name": boiler.name,
        "since": day_of(boiler.since, building.zone).isoformat(),
        **{key: _choice_as_text(key, dated.value) for key, dated in settings.items() if dated},
    }


def _choice_as_text(key: str, value: object) -> object:
    """Return the value, as a text where the column has a choice of words."""
    return columns.as_text(value) if key in columns.CHOICES else value


def _place_cells(
    place: PlaceRecord, refs: dict[str, str], register: RegisterSnapshot, zone: str, catalogue: Catalogue
) -> dict[str, Any]:
    paths, needed = register.settings.get((place.id, "paths")), register.settings.get((place.id, "needed"))
    reason = register.settings.get((place.id, columns.NOT_NEEDED_BECAUSE))
    cells = {
        "position_ref": place.ref,
        "position_name": place.name,
        "role": place.role,
        "hangs_on": "|".join(refs[p] for p in paths.value if p in refs) if paths else "",
        "needed": columns.as_text(needed.value) if needed else "",
        columns.NOT_NEEDED_BECAUSE: reason.value if reason else "",
    }
    occupant = register.fittings.get(place.id, NO_FITTINGS).now
    if occupant is None or not occupant.kind:
        return cells
    declared = {columns.DECLARED_PREFIX + code: day for code, day in occupant.declared.items()}
    return {**cells, **_device_cells(place, occupant, register=register, zone=zone, catalogue=catalogue), **declared}


def _device_cells(
    place: PlaceRecord, occupant: RegisterOccupant, register: RegisterSnapshot, zone: str, catalogue: Catalogue
) -> dict[str, object]:
    return {
        "kind": occupant.kind,
        "fitted_on": day_of(occupant.since, zone).isoformat(),
        **device_values(place, occupant, register, catalogue),
    }


def device_values(
    place: PlaceRecord, occupant: RegisterOccupant, register: RegisterSnapshot, catalogue: Catalogue
) -> dict[str, object]:
    """Return the values stamped on a device, or set on it since it was fitted, by key."""
    values_by_key = {}
    for key in sorted(catalogue.kinds[occupant.kind].attributes - {"fitted_on"}):
        dated = register.settings.get((place.id, key))
        value = dated.value if dated and dated.since >= occupant.since else occupant.attributes.get(key)
        if value is not None:
            values_by_key[key] = value
    return values_by_key
