"""The faults of a sheet by itself: in its first row, in one cell, in one row, and between rows."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from itertools import islice

from fleet.calendar import day_start
from fleet.errors import Fault
from fleet.portfolio import access, columns
from fleet.portfolio.columns import DECLARED, as_day, as_number, measures, possible
from fleet.portfolio.table import MOST_FAULTS, Table
from fleet.rules.catalogue import Catalogue

Cells = dict[str, str]  # the filled cells by column
Lines = list[tuple[int, Cells]]
Place = tuple[str, ...]
Wrong = tuple[str, str] | None  # a fault's code and sentence
_NEEDED = ("building_ref", "address", "zone", "boiler_ref", "boiler_name", "since")
_PLACED = ("position_ref", "position_name", "role")


def first(faults: Iterable[Fault]) -> Iterator[Fault]:
    """Take twice as many faults as are shown, and one more: the others are only counted, up to that."""
    return islice(faults, 2 * MOST_FAULTS + 1)


def header_faults(table: Table, catalogue: Catalogue) -> list[Fault]:
    """Return the faults of the first row: columns that are missing, unknown, or there twice."""
    there = table.header
    missing = [c for c in columns.REQUIRED if c not in there]
    strange = [c[:64] for c in there if not columns.is_column(c, catalogue)]
    faults = [Fault("missing_column", f"The sheet has no column {c!r}.", (1, c)) for c in missing]
    faults += [Fault("unknown_column", f"No column {c!r} is known.", (1, c)) for c in strange]
    twice = [c for c, times in Counter(there).items() if times > 1 and columns.is_column(c, catalogue)]
    return faults + [Fault("double_column", f"Column {c!r} stands there twice.", (1, c)) for c in twice]


def of_rows(table: Table, lines: Lines, catalogue: Catalogue) -> Iterator[Fault]:
    """Yield the faults of single rows, in order. Each different text of a column is checked once."""
    checks = {column: _Remembered(column) for column in table.header}
    for number, cells in lines:
        for column, text in cells.items():
            wrong = checks[column].of(text)
            if wrong is not None:
                yield Fault(*wrong, (number, column))
        yield from _empty(number, cells)
        yield from _device(number, cells, catalogue)
        if cells.get("cutoffs_needed") == "1" and "cutoffs_rule" not in cells:
            told = "One cutoff is enough only by a rule: name it, its date and who decided."
            yield Fault("empty", told, (number, "cutoffs_rule"))


def wrong(column: str, text: str) -> Wrong:
    """Return the fault of one text in one column, whatever the other cells hold; None where it has none."""
    return _Remembered(column).of(text)


class _Remembered:
    """The check of one column; results are kept by text."""

    def __init__(self, column: str) -> None:
        self.column = column
        self.seen: dict[str, Wrong] = {}
        self.check = _check_of(column)

    def of(self, text: str) -> Wrong:
        """Return the fault of this text, None where it has none."""
        try:
            return self.seen[text]
        except KeyError:
            wrong = self.seen[text] = self._look(text)
            return wrong

    def _look(self, text: str) -> Wrong:
        if len(text) > columns.longest(self.column):
            return "too_long", f"{self.column} is at most {columns.longest(self.column)} characters."
        if columns.UNSTORABLE.search(text):
            return "not_text", f"A character of {self.column} can't be kept."
        return self.check(text)


def _check_of(column: str) -> Callable[[str], Wrong]:
    if column == "zone":
        return lambda text: None if _is_zone(text) else ("unknown_zone", f"No time zone {text!r}.")
    if column == "access_hours":
        return _hours
    if column == "position_ref":
        return lambda text: ("not_a_ref", "A place's ref has no | in it.") if "|" in text else None
    if columns.is_day(column):
        return lambda text: None if as_day(text) else ("not_a_date", f"{text!r} is not a date like 2019-10-01.")
    if column in columns.CHOICES:
        known = columns.CHOICES[column]
        return lambda text: None if text in known else ("unknown_choice", f"{column} is one of {', '.join(known)}.")
    return (lambda text: _number(column, text)) if measures(column) else (lambda text: None)


def _hours(text: str) -> Wrong:
    wrong = access.fault(text)
    return None if wrong is None else ("not_access_hours", f"{wrong}.")


def _number(column: str, text: str) -> Wrong:
    value = as_number(text)
    whole = column != "units" or (value is not None and value.is_integer())
    if value is None or not whole or not possible(column, value):
        return "not_a_number", f"{text!r} is not a number that can be."
    return None


def _is_zone(name: str) -> bool:
    try:
        day_start(date(2026, 1, 1), name)
    except ValueError:
        return False
    return True


def _empty(number: int, cells: Cells) -> Iterator[Fault]:
    placeless = not any(column in cells for column in columns.ON_POSITION)
    for column in _NEEDED if placeless else (*_NEEDED, *_PLACED):
        if column not in cells:
            yield Fault("empty", f"{column} is empty.", (number, column))


def _device(number: int, cells: Cells, catalogue: Catalogue) -> Iterator[Fault]:
    kind, role = cells.get("kind", ""), catalogue.roles.get(cells.get("role", ""))
    if role is None and "role" in cells:
        yield Fault("unknown_role", f"No role {cells['role']!r}.", (number, "role"))
    if role is not None and kind and kind not in role.kinds:
        yield Fault("kind_does_not_fit", f"{kind!r} is no {role.name.lower()}.", (number, "kind"))
    if kind and "fitted_on" not in cells:
        yield Fault("empty", "A fitted device needs its date.", (number, "fitted_on"))
    if kind and kind not in catalogue.kinds:
        return
    own = catalogue.kinds[kind].attributes if kind else frozenset[str]()
    for column in cells:
        if column in _EVERY or column in own:
            continue
        if column.startswith(DECLARED):
            yield from _declared(number, column, cells, catalogue)
        else:
            told = f"A {kind!r} has no {column}." if kind else f"Nothing is fitted here that has {column}."
            yield Fault("value_does_not_fit", told, (number, column))


_EVERY = frozenset((*columns.REQUIRED, *columns.OPTIONAL))


def _declared(number: int, column: str, cells: Cells, catalogue: Catalogue) -> Iterator[Fault]:
    """Yield the faults of a declared day: it must fit the device there, and not lie before its fitting."""
    kind, code = cells.get("kind", ""), column.removeprefix(DECLARED)
    if not kind or kind not in catalogue.procedures[code].kinds:
        told = f"{code!r} is not done to a {kind!r}." if kind else "Nothing is fitted here that it could be done to."
        yield Fault("value_does_not_fit", told, (number, column))
        return
    day, fitted = as_day(cells[column]), as_day(cells.get("fitted_on", ""))
    if day and fitted and day < fitted:
        yield Fault("before_it_was_fitted", f"On {day} this device was not there yet.", (number, column))


def between(lines: Lines, catalogue: Catalogue) -> list[Fault]:
    """Return the faults that take two rows: doubles, differences and paths."""
    return [*first(_doubles(lines)), *first(_differences(lines)), *first(_paths(lines, catalogue))]


def _doubles(lines: Lines) -> Iterator[Fault]:
    seen: dict[tuple[str, ...], int] = {}
    for number, cells in lines:
        key = _position(cells)
        if key in seen:
            yield Fault("double", f"Row {seen[key]} is the same position.", (number, "position_ref"))
        seen.setdefault(key, number)


def _differences(lines: Lines) -> Iterator[Fault]:
    """Yield a fault where rows of one building or boiler differ: that would be two settings of one instant."""
    for key, repeated in ((("building_ref",), columns.OF_BUILDING), (_BOILER, columns.OF_BOILER)):
        said_first: dict[tuple[str, ...], tuple[int, Cells]] = {}
        for number, cells in lines:
            row, said = said_first.setdefault(tuple([cells.get(k, "") for k in key]), (number, cells))
            for column in repeated:
                if cells.get(column) != said.get(column):
                    yield Fault("differs", f"Row {row} says {said.get(column, '')!r} of the same.", (number, column))


_BOILER = ("building_ref", "boiler_ref")


def _paths(lines: Lines, catalogue: Catalogue) -> Iterator[Fault]:
    """Yield the faults of paths: each must exist on the same boiler, be a path, and not lead back to itself."""
    hanging = [(number, cells) for number, cells in lines if "hangs_on" in cells]
    if not hanging:
        return
    there = {_position(c): catalogue.roles.get(c.get("role", "")) for _, c in lines}
    circles = circling({_position(c): [(*_boiler(c), r) for r in refs(c)] for _, c in lines})
    for number, cells in hanging:
        for ref in refs(cells):
            role = there.get((*_boiler(cells), ref))
            if (*_boiler(cells), ref) not in there:
                yield Fault("unknown_path", f"No position {ref!r} on this boiler.", (number, "hangs_on"))
            elif role is not None and role.part not in ("input_path", "output_path"):
                yield Fault("not_a_path", f"{ref!r} is a {role.name.lower()}, no path.", (number, "hangs_on"))
        if _position(cells) in circles:
            yield Fault("path_loops", "Its path runs in a circle.", (number, "hangs_on"))


def circling(paths: dict[Place, list[Place]]) -> set[Place]:
    """Return the positions whose paths run in a circle: those left once all that end are removed; linear time."""
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
    return cells.get("building_ref", ""), cells.get("boiler_ref", "")


def _position(cells: Cells) -> tuple[str, str, str]:
    return *_boiler(cells), cells.get("position_ref", "")


def refs(cells: Cells) -> list[str]:
    """Return the refs of the paths that a row names, each once."""
    text = cells.get("hangs_on", "")
    return list(dict.fromkeys(ref.strip() for ref in text.split("|") if ref.strip())) if text else []
