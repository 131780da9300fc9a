"""The register as a sheet. Importing it changes nothing. It holds the register's own facts, not those of visits."""

from collections.abc import Iterator
from datetime import datetime
from itertools import islice
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from fleet.calendar import day_of
from fleet.portfolio import columns
from fleet.portfolio.known import NOBODY, Known, Occupant, Place
from fleet.portfolio.models import Boiler, Building, Fitting, Portfolio
from fleet.rules.catalogue import Catalogue

BATCH = 250  # boilers read at once
EXAMPLE = {
    "building_ref": "MAPLE7",
    "address": "7 Maple Court",
    "zone": "America/New_York",
    "units": 24,
    "access_hours": "mon-fri 08:00-17:00",
    "boiler_ref": "B1",
    "boiler_name": "Boiler 1",
    "since": "2021-09-15",
}
EXAMPLES: tuple[dict[str, Any], ...] = (
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


def header(portfolio: Portfolio | None, catalogue: Catalogue) -> list[str]:
    """Return the columns of a sheet: the fixed ones, then those stamped, set or declared in this portfolio."""
    fitted = Fitting.objects.filter(portfolio=portfolio) if portfolio else Fitting.objects.none()
    kinds = fitted.filter(device__isnull=False).values_list("device__kind_id", flat=True).distinct().order_by()
    there = set(kinds) if portfolio else catalogue.kinds.keys()
    stamped = {a for code, kind in catalogue.kinds.items() if code in there for a in kind.attributes} - {"fitted_on"}
    said = {code for d in fitted.exclude(declared={}).values_list("declared", flat=True).iterator() for code in d}
    declared = sorted(said & set(columns.declarable(catalogue)))
    return [*FIXED, *sorted(stamped), *(columns.DECLARED + code for code in declared)]


FIXED = (
    "portfolio_ref",
    *("building_ref", "address", "zone", "units", "access_hours"),
    *("boiler_ref", "boiler_name", "since", *columns.ON_BOILER),
    *columns.ON_POSITION,
)


def example(catalogue: Catalogue) -> Iterator[list[Any]]:
    """Yield an example sheet: every column, and two rows to write over."""
    names = header(None, catalogue)
    yield names
    for row in EXAMPLES:
        cells = {**EXAMPLE, **row}
        yield [cells.get(name, "") for name in names]


def sheet(
    *, portfolio: Portfolio, boilers: QuerySet[Boiler], catalogue: Catalogue, at: datetime
) -> Iterator[list[Any]]:
    """Yield the columns and then the rows of these boilers at an instant, reading a few hundred boilers at a time."""
    names = header(portfolio, catalogue)
    yield names
    own = boilers.filter(portfolio=portfolio).order_by("building__ref", "ref").values_list("id", flat=True)
    ids: Iterator[UUID] = iter(list(own))
    while some := list(islice(ids, BATCH)):
        inside = Boiler.objects.filter(id__in=some)
        houses = Building.objects.filter(boilers__in=some).distinct()
        for cells in _rows(portfolio, Known.within(inside, houses, at), catalogue):
            yield [cells.get(name, "") for name in names]


def _rows(portfolio: Portfolio, known: Known, catalogue: Catalogue) -> Iterator[dict[str, Any]]:
    places: dict[UUID, list[Place]] = {boiler.id: [] for boiler in known.boilers.values()}
    for place in known.positions.values():
        places[place.boiler].append(place)
    for _, boiler in sorted(known.boilers.items()):
        own = sorted(places[boiler.id], key=lambda p: p.ref)
        refs = {str(p.id): p.ref for p in own}
        cells = _of_boiler(portfolio, boiler, known)
        for place in own:
            yield {**cells, **_of_place(place, refs, known, boiler.building.zone, catalogue)}
        if not own:
            yield cells


def _of_boiler(portfolio: Portfolio, boiler: Boiler, known: Known) -> dict[str, Any]:
    building = boiler.building
    said = {key: known.settings.get((boiler.id, key)) for key in columns.ON_BOILER}
    return {
        "portfolio_ref": portfolio.ref,
        "building_ref": building.ref,
        "address": building.address,
        "zone": building.zone,
        "units": building.units,
        "access_hours": building.access_hours,
        "boiler_ref": boiler.ref,
        "boiler_name": boiler.name,
        "since": day_of(boiler.since, building.zone).isoformat(),
        **{key: _chosen(key, dated.value) for key, dated in said.items() if dated},
    }


def _chosen(key: str, value: Any) -> Any:
    """Return the value, as a text where the column has a choice of words."""
    return columns.as_text(value) if key in columns.CHOICES else value


def _of_place(place: Place, refs: dict[str, str], known: Known, zone: str, catalogue: Catalogue) -> dict[str, Any]:
    paths, needed = known.settings.get((place.id, "paths")), known.settings.get((place.id, "needed"))
    cells = {
        "position_ref": place.ref,
        "position_name": place.name,
        "role": place.role,
        "hangs_on": "|".join(refs[p] for p in paths.value if p in refs) if paths else "",
        "needed": columns.as_text(needed.value) if needed else "",
    }
    now = known.fittings.get(place.id, NOBODY).now
    if now is None or not now.kind:
        return cells
    declared = {columns.DECLARED + code: day for code, day in now.declared.items()}
    return {**cells, **_device(place, now, known, zone, catalogue), **declared}


def _device(place: Place, now: Occupant, known: Known, zone: str, catalogue: Catalogue) -> dict[str, Any]:
    return {"kind": now.kind, "fitted_on": day_of(now.since, zone).isoformat(), **values(place, now, known, catalogue)}


def values(place: Place, now: Occupant, known: Known, catalogue: Catalogue) -> dict[str, Any]:
    """Return the values stamped on a device, or set on it since it was fitted, by key."""
    found = {}
    for key in sorted(catalogue.kinds[now.kind].attributes - {"fitted_on"}):
        dated = known.settings.get((place.id, key))
        value = dated.value if dated and dated.since >= now.since else now.attributes.get(key)
        if value is not None:
            found[key] = value
    return found
