"""A register sheet: one row per position, building and boiler repeated; read whole or refused with row and column."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from fleet.calendar import day_start
from fleet.errors import Fault, Refused
from fleet.rules.catalogue import Catalogue

REQUIRED = (
    "building_ref",
    "address",
    "zone",
    "boiler_ref",
    "boiler_name",
    "since",
    "position_ref",
    "position_name",
    "role",
    "kind",
    "fitted_on",
)
OPTIONAL = ("units", "hangs_on", "output_btu_h", "lowest_safe_line_in")


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One position. `hangs_on` names the positions (refs) whose paths carry its signal; `kind` '' is an empty place."""

    line: int
    building_ref: str
    address: str
    zone: str
    units: int
    boiler_ref: str
    boiler_name: str
    since: date
    output_btu_h: float | None
    lowest_safe_line_in: float | None
    position_ref: str
    position_name: str
    role: str
    hangs_on: tuple[str, ...]
    kind: str
    fitted_on: date | None
    attributes: tuple[tuple[str, float | str], ...]

    @property
    def boiler_key(self) -> tuple[str, str]:
        """The natural key of the boiler within its portfolio."""
        return self.building_ref, self.boiler_ref


def parse(text: str, catalogue: Catalogue) -> list[SheetRow]:
    """Return the rows of a CSV sheet. Raises Refused with every fault, its place being (row, column)."""
    reader = csv.DictReader(io.StringIO(text.lstrip("\ufeff")))
    header = list(reader.fieldnames or [])
    known = {*REQUIRED, *OPTIONAL, *(a for k in catalogue.kinds.values() for a in k.attributes)}
    faults = [Fault("missing_column", f"The sheet has no column {c!r}.", (1, c)) for c in REQUIRED if c not in header]
    faults += [Fault("unknown_column", f"No column {c!r} is known.", (1, c)) for c in header if c not in known]
    if faults:
        raise Refused.all(faults, status=422)
    lines = [(number, {k: (v or "").strip() for k, v in cells.items() if k}) for number, cells in enumerate(reader, 2)]
    for number, cells in lines:
        faults += _faults(number, cells, catalogue)
    faults += [] if faults else [*_doubles(lines), *_loose_paths(lines)]
    if faults:
        raise Refused.all(faults, status=422)
    return [_row(number, cells, catalogue) for number, cells in lines]


Cells = dict[str, str]


def _faults(number: int, cells: Cells, catalogue: Catalogue) -> Iterator[Fault]:
    for column in REQUIRED:
        if not cells[column] and column not in ("kind", "fitted_on"):
            yield Fault("empty", f"{column} is empty.", (number, column))
    if not _is_zone(cells["zone"]):
        yield Fault("unknown_zone", f"No time zone {cells['zone']!r}.", (number, "zone"))
    role = catalogue.roles.get(cells["role"])
    if role is None:
        yield Fault("unknown_role", f"No role {cells['role']!r}.", (number, "role"))
    elif cells["kind"] and cells["kind"] not in role.kinds:
        yield Fault("kind_does_not_fit", f"{cells['kind']!r} is no {role.name.lower()}.", (number, "kind"))
    if cells["kind"] and not cells["fitted_on"]:
        yield Fault("empty", "A fitted device needs its date.", (number, "fitted_on"))
    yield from _values(number, cells)


def _is_zone(name: str) -> bool:
    try:
        day_start(date(2026, 1, 1), name)
    except ValueError:
        return False
    return True


def _values(number: int, cells: Cells) -> Iterator[Fault]:
    for column in ("since", "fitted_on"):
        if cells[column] and _date(cells[column]) is None:
            yield Fault("not_a_date", f"{cells[column]!r} is not a date like 2019-10-01.", (number, column))
    for column in cells:
        if column.endswith(("_psi", "_in", "_btu_h", "_lb_h", "_s", "units")) and cells[column]:
            value = _number(cells[column])
            if value is None or not 0 <= value < 1e9:
                yield Fault("not_a_number", f"{cells[column]!r} is not a number that can be.", (number, column))


def _doubles(lines: list[tuple[int, Cells]]) -> Iterator[Fault]:
    seen: dict[tuple[str, ...], int] = {}
    for number, cells in lines:
        key = cells["building_ref"], cells["boiler_ref"], cells["position_ref"]
        if key in seen:
            yield Fault("double", f"Row {seen[key]} is the same position.", (number, "position_ref"))
        seen[key] = number


def _loose_paths(lines: list[tuple[int, Cells]]) -> Iterator[Fault]:
    """A path must exist on the same boiler and be a path, and none may lead back to itself."""
    paths = {(*_boiler(c), c["position_ref"]): _refs(c) for _, c in lines}
    for number, cells in lines:
        for ref in _refs(cells):
            if (*_boiler(cells), ref) not in paths:
                yield Fault("unknown_path", f"No position {ref!r} on this boiler.", (number, "hangs_on"))
        if _loops(cells["position_ref"], _boiler(cells), paths):
            yield Fault("path_loops", "Its path leads back to itself.", (number, "hangs_on"))


def _loops(start: str, boiler: tuple[str, str], paths: dict[tuple[str, str, str], list[str]]) -> bool:
    seen: set[str] = set()
    waiting = list(paths.get((*boiler, start), []))
    while waiting:
        ref = waiting.pop()
        if ref == start:
            return True
        if ref not in seen:
            seen.add(ref)
            waiting += paths.get((*boiler, ref), [])
    return False


def _boiler(cells: Cells) -> tuple[str, str]:
    return cells["building_ref"], cells["boiler_ref"]


def _refs(cells: Cells) -> list[str]:
    return [ref.strip() for ref in cells.get("hangs_on", "").split("|") if ref.strip()]


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _row(number: int, cells: Cells, catalogue: Catalogue) -> SheetRow:
    kind = catalogue.kinds.get(cells["kind"])
    names = sorted(kind.attributes - {"fitted_on"}) if kind else []
    values = {n: cells[n] for n in names if cells.get(n)}
    return SheetRow(
        line=number,
        building_ref=cells["building_ref"],
        address=cells["address"],
        zone=cells["zone"],
        units=int(_number(cells.get("units", "")) or 0),
        boiler_ref=cells["boiler_ref"],
        boiler_name=cells["boiler_name"],
        since=date.fromisoformat(cells["since"]),
        output_btu_h=_number(cells.get("output_btu_h", "")),
        lowest_safe_line_in=_number(cells.get("lowest_safe_line_in", "")),
        position_ref=cells["position_ref"],
        position_name=cells["position_name"],
        role=cells["role"],
        hangs_on=tuple(_refs(cells)),
        kind=cells["kind"],
        fitted_on=_date(cells["fitted_on"]),
        attributes=tuple((n, v if _number(v) is None else float(v)) for n, v in values.items()),
    )
