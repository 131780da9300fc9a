"""A register sheet: one row per position, building and boiler repeated; read whole or refused with row and column."""

import csv
import io
import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import zip_longest

from fleet.calendar import day_start
from fleet.errors import Fault, Refused
from fleet.portfolio import access
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
# What may be on record of a boiler as a whole, each a dated setting: measured, chosen, or (heats) yes or no.
CHOICES = {
    "fuel": ("natural_gas", "oil_2", "propane"),
    "construction": ("cast_iron", "firetube", "watertube"),
    "firing": ("hand", "stoker", "oil_gas"),
    "cutoffs_needed": ("1", "2"),
    "heats": ("yes", "no"),
}
ON_BOILER = (
    "output_btu_h",
    "lowest_safe_line_in",
    "normal_line_in",
    "water_surface_ft2",
    "heating_surface_ft2",
    *CHOICES,
    "cutoffs_rule",
)
OPTIONAL = ("units", "access_hours", "hangs_on", *ON_BOILER)
OF_BUILDING = ("address", "zone", "units", "access_hours")
OF_BOILER = ("boiler_name", "since", *ON_BOILER)
LONGEST = {
    "address": 200,
    "access_hours": access.LONGEST,
    "boiler_name": 200,
    "position_name": 200,
    "cutoffs_rule": 200,
}  # 64 for all others
YEARS = range(1850, 2100)
# By the end of the name, longest first: what can be at all on a boiler of 15 psig or less (common practice).
RANGES = {
    "_btu_h": (0.0, 1e9),
    "_lb_h": (0.0, 1e6),
    "_psi": (0.0, 300.0),
    "_ft2": (0.0, 1e5),
    "_gal": (9.0, 1e12),
    "_in": (-5.0, 500.0),
    "_s": (0.0, 3600.0),
    "units": (0.0, 1e5),
}
_NUMBER = re.compile(r"-?\d{1,15}(\.\d{1,15})?", re.ASCII)
_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_UNSTORABLE = re.compile("[\x00\ud800-\udfff]")

Cells = dict[str, str]
Lines = list[tuple[int, Cells]]
Place = tuple[str, ...]


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
    on_boiler: tuple[tuple[str, float | str | bool], ...]
    position_ref: str
    position_name: str
    role: str
    hangs_on: tuple[str, ...]
    kind: str
    fitted_on: date | None
    attributes: tuple[tuple[str, float | str], ...]
    access_hours: str | None = None  # None: the sheet has no such column, and what is on record stays

    @property
    def boiler_key(self) -> tuple[str, str]:
        """The natural key of the boiler within its portfolio."""
        return self.building_ref, self.boiler_ref


def measures(column: str) -> bool:
    """Whether a column or value holds a number: its name ends with the unit."""
    return column.endswith(tuple(RANGES))


def possible(name: str, value: float) -> bool:
    """Whether a number can physically be: which one is right is judged elsewhere."""
    low, high = next(bounds for unit, bounds in RANGES.items() if name.endswith(unit))
    return low <= value <= high  # false for NaN


def parse(text: str, catalogue: Catalogue) -> list[SheetRow]:
    """Return the rows of a CSV sheet. Raises Refused with every fault, its place being (row, column)."""
    try:
        records = list(enumerate(csv.reader(io.StringIO(text.lstrip("\ufeff"), newline=""), strict=True), start=1))
    except csv.Error as error:
        raise Refused("not_a_table", f"This can't be read as a table: {error}.", (), status=422) from None
    header = [name.strip() for name in records[0][1]] if records else []
    _refuse(_header(header, catalogue))
    lines = [(number, _cells(header, record)) for number, record in records[1:] if any(map(str.strip, record))]
    faults = [] if lines else [Fault("no_rows", "The sheet has no rows.", (1,))]
    for number, record in records[1:]:
        faults += _ragged(number, record, header)
    for number, cells in lines:
        faults += _faults(number, cells, catalogue)
    faults += [*_doubles(lines), *_differences(lines), *_paths(lines, catalogue)]
    _refuse(sorted(faults, key=lambda f: f.at[0]))
    return [_row(number, cells, catalogue) for number, cells in lines]


def _refuse(faults: list[Fault]) -> None:
    if faults:
        raise Refused.all(faults, status=422)


def _header(header: list[str], catalogue: Catalogue) -> list[Fault]:
    known = {*REQUIRED, *OPTIONAL, *(a for k in catalogue.kinds.values() for a in k.attributes)}
    faults = [Fault("missing_column", f"The sheet has no column {c!r}.", (1, c)) for c in REQUIRED if c not in header]
    faults += [Fault("unknown_column", f"No column {c!r} is known.", (1, c)) for c in header if c not in known]
    twice = [c for c, times in Counter(header).items() if times > 1 and c in known]
    return faults + [Fault("double_column", f"Column {c!r} stands there twice.", (1, c)) for c in twice]


def _cells(header: list[str], record: list[str]) -> Cells:
    return {c: v.strip() for c, v in zip_longest(header, record[: len(header)], fillvalue="")}


def _ragged(number: int, record: list[str], header: list[str]) -> Iterator[Fault]:
    """A missing or surplus comma moves every value after it under another name."""
    if any(map(str.strip, record)) and len(record) != len(header):
        told = f"{len(record)} cells where the first row has {len(header)}."
        yield Fault("too_few_cells" if len(record) < len(header) else "too_many_cells", told, (number,))


def _faults(number: int, cells: Cells, catalogue: Catalogue) -> Iterator[Fault]:
    for column, text in cells.items():
        if column in REQUIRED and not text and column not in ("kind", "fitted_on"):
            yield Fault("empty", f"{column} is empty.", (number, column))
        if len(text) > LONGEST.get(column, 64) and column != "hangs_on":
            yield Fault("too_long", f"{column} is at most {LONGEST.get(column, 64)} characters.", (number, column))
        if _UNSTORABLE.search(text):
            yield Fault("not_text", f"A character of {column} can't be kept.", (number, column))
    if cells["zone"] and not _is_zone(cells["zone"]):
        yield Fault("unknown_zone", f"No time zone {cells['zone']!r}.", (number, "zone"))
    if (wrong := access.fault(cells.get("access_hours", ""))) is not None:
        yield Fault("not_access_hours", f"{wrong}.", (number, "access_hours"))
    yield from _device(number, cells, catalogue)
    yield from _values(number, cells)
    yield from _chosen(number, cells)


def _device(number: int, cells: Cells, catalogue: Catalogue) -> Iterator[Fault]:
    kind, role = cells["kind"], catalogue.roles.get(cells["role"])
    if role is None and cells["role"]:
        yield Fault("unknown_role", f"No role {cells['role']!r}.", (number, "role"))
    if role is not None and kind and kind not in role.kinds:
        yield Fault("kind_does_not_fit", f"{kind!r} is no {role.name.lower()}.", (number, "kind"))
    if kind and not cells["fitted_on"]:
        yield Fault("empty", "A fitted device needs its date.", (number, "fitted_on"))
    if kind and kind not in catalogue.kinds:
        return
    own = catalogue.kinds[kind].attributes if kind else frozenset[str]()
    for column in sorted(c for c, text in cells.items() if text and c not in (*REQUIRED, *OPTIONAL, *own)):
        told = f"A {kind!r} has no {column}." if kind else f"Nothing is fitted here that has {column}."
        yield Fault("value_does_not_fit", told, (number, column))


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
    for column, text in cells.items():
        if text and measures(column):
            value = _number(text)
            whole = column != "units" or (value is not None and value.is_integer())
            if value is None or not whole or not possible(column, value):
                yield Fault("not_a_number", f"{text!r} is not a number that can be.", (number, column))


def _chosen(number: int, cells: Cells) -> Iterator[Fault]:
    for column, known in CHOICES.items():
        if cells.get(column) and cells[column] not in known:
            yield Fault("unknown_choice", f"{column} is one of {', '.join(known)}.", (number, column))
    if cells.get("cutoffs_needed") == "1" and not cells.get("cutoffs_rule"):
        told = "One cutoff is enough only by a rule: name it, its date and who decided."
        yield Fault("empty", told, (number, "cutoffs_rule"))


def _doubles(lines: Lines) -> Iterator[Fault]:
    seen: dict[tuple[str, ...], int] = {}
    for number, cells in lines:
        key = *_boiler(cells), cells["position_ref"]
        if key in seen:
            yield Fault("double", f"Row {seen[key]} is the same position.", (number, "position_ref"))
        seen.setdefault(key, number)


def _differences(lines: Lines) -> Iterator[Fault]:
    """Building and boiler are repeated on every row: two answers would be two settings of one instant."""
    for key, columns in ((("building_ref",), OF_BUILDING), (("building_ref", "boiler_ref"), OF_BOILER)):
        first: dict[tuple[str, ...], tuple[int, Cells]] = {}
        for number, cells in lines:
            row, said = first.setdefault(tuple(cells[k] for k in key), (number, cells))
            for column in columns:
                if cells.get(column) != said.get(column):
                    yield Fault("differs", f"Row {row} says {said[column]!r} of the same.", (number, column))


def _paths(lines: Lines, catalogue: Catalogue) -> Iterator[Fault]:
    """A path must exist on the same boiler and be a path, and none may lead back to itself."""
    there = {(*_boiler(c), c["position_ref"]): catalogue.roles.get(c["role"]) for _, c in lines}
    circles = circling({(*_boiler(c), c["position_ref"]): [(*_boiler(c), r) for r in _refs(c)] for _, c in lines})
    for number, cells in lines:
        for ref in _refs(cells):
            role = there.get((*_boiler(cells), ref))
            if (*_boiler(cells), ref) not in there:
                yield Fault("unknown_path", f"No position {ref!r} on this boiler.", (number, "hangs_on"))
            elif role is not None and role.part not in ("input_path", "output_path"):
                yield Fault("not_a_path", f"{ref!r} is a {role.name.lower()}, no path.", (number, "hangs_on"))
        if (*_boiler(cells), cells["position_ref"]) in circles:
            yield Fault("path_loops", "Its path runs in a circle.", (number, "hangs_on"))


def circling(paths: dict[Place, list[Place]]) -> set[Place]:
    """The positions whose paths never end: what is left when all that end are taken away, each looked at once."""
    carried: dict[Place, list[Place]] = defaultdict(list)
    open_ends = {place: len([p for p in hangs_on if p in paths]) for place, hangs_on in paths.items()}
    for place, hangs_on in paths.items():
        for path in hangs_on:
            carried[path].append(place)
    ending = [place for place, count in open_ends.items() if not count]
    while ending:
        for place in carried[ending.pop()]:
            open_ends[place] -= 1
            if not open_ends[place]:
                ending.append(place)
    return {place for place, count in open_ends.items() if count}


def _boiler(cells: Cells) -> tuple[str, str]:
    return cells["building_ref"], cells["boiler_ref"]


def _refs(cells: Cells) -> list[str]:
    return list(dict.fromkeys(ref.strip() for ref in cells.get("hangs_on", "").split("|") if ref.strip()))


def _date(text: str) -> date | None:
    try:
        found = date.fromisoformat(text) if _DATE.fullmatch(text) else None
    except ValueError:
        return None
    return found if found and found.year in YEARS else None


def _number(text: str) -> float | None:
    """A plain decimal number: what else `float` would take (1_000, nan, ١٢) nobody means."""
    return float(text) if _NUMBER.fullmatch(text) else None


def _on_boiler(name: str, text: str) -> float | str | bool:
    if name == "heats":
        return text == "yes"
    return float(text) if measures(name) or name == "cutoffs_needed" else text


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
        on_boiler=tuple((n, _on_boiler(n, cells[n])) for n in ON_BOILER if cells.get(n)),
        position_ref=cells["position_ref"],
        position_name=cells["position_name"],
        role=cells["role"],
        hangs_on=tuple(_refs(cells)),
        kind=cells["kind"],
        fitted_on=_date(cells["fitted_on"]),
        attributes=tuple((n, float(v) if measures(n) else v) for n, v in values.items()),
        access_hours=cells.get("access_hours"),
    )
