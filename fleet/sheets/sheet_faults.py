"""The faults of a sheet by itself: in its first row, in one cell, in one row, and between rows."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from itertools import islice

from fleet.calendar import day_start
from fleet.errors import Fault
from fleet.portfolio import access
from fleet.rules.catalogue import Catalogue
from fleet.rules.needed_roles import PlaceOnRecord, explain_always_needed, may_be_left_out
from fleet.sheets import columns
from fleet.sheets.columns import DECLARED_PREFIX, as_day, as_number, is_measured, is_possible
from fleet.sheets.table import MAX_FAULTS, SheetTable

Cells = dict[str, str]  # the filled cells by column
Lines = list[tuple[int, Cells]]
PlaceKey = tuple[str, ...]
CellFault = tuple[str, str] | None  # a fault's code and sentence
_ALWAYS_REQUIRED = ("building_ref", "address", "zone", "boiler_ref", "boiler_name", "since")
_REQUIRED_WITH_PLACE = ("position_ref", "position_name", "role")


def limit_faults(faults: Iterable[Fault]) -> Iterator[Fault]:
    """Take twice as many faults as are shown, and one more: the others are only counted, up to that."""
    return islice(faults, 2 * MAX_FAULTS + 1)


def header_faults(table: SheetTable, catalogue: Catalogue) -> list[Fault]:
    """Return the faults of the first row: columns that are missing, unknown, or there twice."""
    there = table.header
    missing = [c for c in columns.REQUIRED if c not in there]
    strange = [c[:64] for c in there if not columns.is_column(c, catalogue)]
    faults = [Fault("missing_column", f"The sheet has no column {c!r}.", (1, c)) for c in missing]
    faults += [Fault("unknown_column", f"The column {c!r} is not known.", (1, c)) for c in strange]
    twice = [c for c, times in Counter(there).items() if times > 1 and columns.is_column(c, catalogue)]
    return faults + [Fault("double_column", f"Column {c!r} appears twice.", (1, c)) for c in twice]


def row_faults(table: SheetTable, lines: Lines, catalogue: Catalogue) -> Iterator[Fault]:
    """Yield the faults of single rows, in order. Each different text of a column is checked once."""
    checks = {column: _ColumnCheck(column) for column in table.header}
    for number, cells in lines:
        for column, text in cells.items():
            wrong = checks[column].fault_of(text)
            if wrong is not None:
                yield Fault(*wrong, (number, column))
        yield from _empty_cell_faults(number, cells)
        yield from _device_faults(number, cells, catalogue)
        if cells.get("cutoffs_needed") == "1" and "cutoffs_rule" not in cells:
            message = "One cutoff is enough only under a rule. Name the rule, its date and who decided."
            yield Fault("empty", message, (number, "cutoffs_rule"))
        if cells.get("needed") == "no" and columns.NOT_NEEDED_BECAUSE not in cells:
            message = "A place that need not be filled needs a reason. Say why, who decided, and when."
            yield Fault("empty", message, (number, columns.NOT_NEEDED_BECAUSE))


def cell_fault(column: str, text: str) -> CellFault:
    """Return the fault of one text in one column, whatever the other cells hold; None where it has none."""
    return _ColumnCheck(column).fault_of(text)


class _ColumnCheck:
    """The check of one column; results are kept by text."""

    def __init__(self, column: str) -> None:
        self.column = column
        self.faults_by_text: dict[str, CellFault] = {}
        self.check = _check_of(column)

    def fault_of(self, text: str) -> CellFault:
        """Return the fault of this text, None where it has none."""
        try:
            return self.faults_by_text[text]
        except KeyError:
            wrong = self.faults_by_text[text] = self._find_fault(text)
            return wrong

    def _find_fault(self, text: str) -> CellFault:
        if len(text) > columns.max_length(self.column):
            return "too_long", f"{self.column} can have at most {columns.max_length(self.column)} characters."
        if columns.UNSTORABLE.search(text):
            return "not_text", f"{self.column} contains a character that cannot be stored."
        return self.check(text)


def _check_of(column: str) -> Callable[[str], CellFault]:
    if column == "zone":
        return lambda text: None if _is_zone(text) else ("unknown_zone", f"There is no time zone {text!r}.")
    if column == "access_hours":
        return _access_hours_fault
    if column == "position_ref":
        return lambda text: ("not_a_ref", "A place's ref cannot contain |.") if "|" in text else None
    if columns.is_day(column):
        return lambda text: None if as_day(text) else ("not_a_date", f"{text!r} is not a date like 2019-10-01.")
    if column in columns.CHOICES:
        choices = columns.CHOICES[column]
        return lambda text: (
            None if text in choices else ("unknown_choice", f"{column} must be one of {', '.join(choices)}.")
        )
    return (lambda text: _number_fault(column, text)) if is_measured(column) else (lambda text: None)


def _access_hours_fault(text: str) -> CellFault:
    wrong = access.access_hours_fault(text)
    return None if wrong is None else ("not_access_hours", f"{wrong}.")


def _number_fault(column: str, text: str) -> CellFault:
    value = as_number(text)
    whole = column != "units" or (value is not None and value.is_integer())
    if value is None or not whole or not is_possible(column, value):
        return "not_a_number", f"{text!r} is not a possible number."
    return None


def _is_zone(name: str) -> bool:
    try:
        day_start(date(2026, 1, 1), name)
    except ValueError:
        return False
    return True


def _empty_cell_faults(number: int, cells: Cells) -> Iterator[Fault]:
    placeless = not any(column in cells for column in columns.ON_POSITION)
    for column in _ALWAYS_REQUIRED if placeless else (*_ALWAYS_REQUIRED, *_REQUIRED_WITH_PLACE):
        if column not in cells:
            yield Fault("empty", f"{column} is empty.", (number, column))


def _device_faults(number: int, cells: Cells, catalogue: Catalogue) -> Iterator[Fault]:
    kind, role = cells.get("kind", ""), catalogue.roles.get(cells.get("role", ""))
    if role is None and "role" in cells:
        yield Fault("unknown_role", f"There is no role {cells['role']!r}.", (number, "role"))
    if role is not None and kind and kind not in role.kinds:
        yield Fault("kind_does_not_fit", f"{kind!r} is not a {role.name.lower()}.", (number, "kind"))
    if kind and "fitted_on" not in cells:
        yield Fault("empty", "A fitted device needs its date.", (number, "fitted_on"))
    if kind and kind not in catalogue.kinds:
        return
    kind_attributes = catalogue.kinds[kind].attributes if kind else frozenset[str]()
    for column in cells:
        if column in _COMMON_COLUMNS or column in kind_attributes:
            continue
        if column.startswith(DECLARED_PREFIX):
            yield from _declared_faults(number, column, cells, catalogue)
        else:
            message = f"A {kind!r} has no {column}." if kind else f"Nothing is fitted here that has {column}."
            yield Fault("value_does_not_fit", message, (number, column))


_COMMON_COLUMNS = frozenset((*columns.REQUIRED, *columns.OPTIONAL))


def _declared_faults(number: int, column: str, cells: Cells, catalogue: Catalogue) -> Iterator[Fault]:
    """Yield the faults of a declared day: it must fit the device there, and not lie before its fitting."""
    kind, code = cells.get("kind", ""), column.removeprefix(DECLARED_PREFIX)
    if not kind or kind not in catalogue.procedures[code].kinds:
        message = (
            f"{code!r} is not done to a {kind!r}." if kind else "Nothing is fitted here that this could be done to."
        )
        yield Fault("value_does_not_fit", message, (number, column))
        return
    day, fitted = as_day(cells[column]), as_day(cells.get("fitted_on", ""))
    if day and fitted and day < fitted:
        yield Fault("before_it_was_fitted", f"This device was not there yet on {day}.", (number, column))


def faults_between_rows(lines: Lines, catalogue: Catalogue) -> list[Fault]:
    """Return the faults that take two rows: doubles, differences and paths."""
    return [
        *limit_faults(_double_position_faults(lines)),
        *limit_faults(_difference_faults(lines)),
        *limit_faults(_path_faults(lines, catalogue)),
        *limit_faults(_needed_role_faults(lines, catalogue)),
    ]


def _needed_role_faults(lines: Lines, catalogue: Catalogue) -> Iterator[Fault]:
    """Yield a fault for each *needed: no* of a role that its boiler needs, unless another row fills the need."""
    places_by_boiler: dict[PlaceKey, list[tuple[int, PlaceOnRecord]]] = defaultdict(list)
    for number, cells in lines:
        if "role" in cells and (cells.get("needed") != "no" or "kind" in cells):
            place = PlaceOnRecord(cells["role"], cells.get("kind", ""))
            places_by_boiler[_boiler_key(cells)].append((number, place))
    for number, cells in lines:
        role = catalogue.roles.get(cells.get("role", ""))
        if cells.get("needed") != "no" or role is None:
            continue
        other_places = [place for row, place in places_by_boiler[_boiler_key(cells)] if row != number]
        values = {"cutoffs_needed": as_number(cells.get("cutoffs_needed", ""))}
        if not may_be_left_out(catalogue, values, role.code, other_places):
            yield Fault("always_needed", explain_always_needed(role.name), (number, "needed"))


def _double_position_faults(lines: Lines) -> Iterator[Fault]:
    first_lines: dict[tuple[str, ...], int] = {}
    for number, cells in lines:
        key = _position_key(cells)
        if key in first_lines:
            yield Fault("double", f"Row {first_lines[key]} is the same position.", (number, "position_ref"))
        first_lines.setdefault(key, number)


def _difference_faults(lines: Lines) -> Iterator[Fault]:
    """Yield a fault where rows of one building or boiler differ: that would be two settings of one instant."""
    for key, repeated in ((("building_ref",), columns.OF_BUILDING), (_BOILER_KEY_COLUMNS, columns.OF_BOILER)):
        first_by_key: dict[tuple[str, ...], tuple[int, Cells]] = {}
        for number, cells in lines:
            row, first_cells = first_by_key.setdefault(tuple([cells.get(k, "") for k in key]), (number, cells))
            for column in repeated:
                if cells.get(column) != first_cells.get(column):
                    yield Fault(
                        "differs", f"Row {row} says {first_cells.get(column, '')!r} for the same one.", (number, column)
                    )


_BOILER_KEY_COLUMNS = ("building_ref", "boiler_ref")


def _path_faults(lines: Lines, catalogue: Catalogue) -> Iterator[Fault]:
    """Yield the faults of paths: each must exist on the same boiler, be a path, and not lead back to itself."""
    hanging = [(number, cells) for number, cells in lines if "hangs_on" in cells]
    if not hanging:
        return
    there = {_position_key(c): catalogue.roles.get(c.get("role", "")) for _, c in lines}
    circles = find_path_circles({_position_key(c): [(*_boiler_key(c), r) for r in path_refs(c)] for _, c in lines})
    for number, cells in hanging:
        for ref in path_refs(cells):
            role = there.get((*_boiler_key(cells), ref))
            if (*_boiler_key(cells), ref) not in there:
                yield Fault("unknown_path", f"No position {ref!r} on this boiler.", (number, "hangs_on"))
            elif role is not None and role.part not in ("input_path", "output_path"):
                yield Fault("not_a_path", f"{ref!r} is a {role.name.lower()}, not a path.", (number, "hangs_on"))
        if _position_key(cells) in circles:
            yield Fault("path_loops", "Its path runs in a circle.", (number, "hangs_on"))


def find_path_circles(paths: dict[PlaceKey, list[PlaceKey]]) -> set[PlaceKey]:
    """Return the positions whose paths run in a circle: those left once all that end are removed; linear time."""
    carried: dict[PlaceKey, list[PlaceKey]] = defaultdict(list)
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


def _boiler_key(cells: Cells) -> tuple[str, str]:
    return cells.get("building_ref", ""), cells.get("boiler_ref", "")


def _position_key(cells: Cells) -> tuple[str, str, str]:
    return *_boiler_key(cells), cells.get("position_ref", "")


def path_refs(cells: Cells) -> list[str]:
    """Return the refs of the paths that a row names, each once."""
    text = cells.get("hangs_on", "")
    return list(dict.fromkeys(ref.strip() for ref in text.split("|") if ref.strip())) if text else []
