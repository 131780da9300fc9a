"""One row of a table and reading its cells. Faults are noted with file, line and column, and raised together later."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from fleet.calendar import Interval
from fleet.errors import Fault, Refused

REQUIRED = "needs a value"


@dataclass(slots=True)
class Faults:
    """The faults noted so far; the catalogue is refused with all of them."""

    found: list[Fault] = field(default_factory=list)

    def note(self, code: str, message: str, file: str, line: int = 1, column: str = "") -> None:
        """Note one fault at its place."""
        self.found.append(Fault(code, message, (file, line, column)))

    def refuse_if_any(self) -> None:
        """Raise Refused with all noted faults, in the order of files and lines, if there are any."""
        if self.found:
            raise Refused.all(sorted(self.found, key=lambda f: (str(f.at[0]), f.at[1])))


@dataclass(frozen=True, slots=True)
class Row:
    """One line of one file: text under column names."""

    file: str
    line: int
    cells: Mapping[str, str]
    faults: Faults

    def fault(self, code: str, column: str, message: str) -> None:
        """Note a fault of one cell."""
        self.faults.note(code, message, self.file, self.line, column)

    def text(self, column: str, needed: bool = True) -> str:
        """Return a cell's text; an empty cell is a fault where it is `needed`."""
        value = self.cells.get(column, "")
        if needed and not value:
            self.fault("empty_source" if column == "source" else "empty", column, REQUIRED)
        return value

    def listed(self, column: str, needed: bool = False) -> tuple[str, ...]:
        """Return the parts of a cell between | bars; an empty or repeated part is a fault."""
        value = self.text(column, needed)
        parts = tuple(value.split("|")) if value else ()
        if "" in parts or len(set(parts)) < len(parts):
            self.fault("bad_value", column, f"has an empty or repeated part: {value!r}")
        return parts

    def flag(self, column: str) -> bool:
        """Return whether a yes-or-no cell says yes."""
        return self.choice(column, ("yes", "no")) == "yes"

    def choice(self, column: str, allowed: Collection[str]) -> str:
        """Return a cell that must be one of the allowed words; '' only where it is among them."""
        value = self.cells.get(column, "")
        if value not in allowed:
            words = ", ".join(sorted(w for w in allowed if w))
            self.fault("bad_value", column, f"is {value!r}; it must be one of: {words}")
        return value

    def choices(self, column: str, allowed: Collection[str], needed: bool = False) -> frozenset[str]:
        """Return the parts of a cell, each of which must be one of the allowed words."""
        parts = self.listed(column, needed)
        for part in parts:
            if part not in allowed:
                self.fault("bad_value", column, f"has {part!r}; allowed are: {', '.join(sorted(allowed))}")
        return frozenset(parts)

    def count(self, column: str) -> int:
        """Return a whole number of 0 or more; 0 where the cell is wrong."""
        value = self.text(column)
        if value.isascii() and value.isdigit():
            return int(value)
        if value:
            self.fault("bad_value", column, f"is {value!r}, not a whole number of 0 or more")
        return 0

    def number(self, column: str) -> float | None:
        """Return a finite number, None where the cell is empty or wrong."""
        value = self.text(column, needed=False)
        if not value:
            return None
        try:
            number = float(value)
        except ValueError:
            number = float("nan")
        if abs(number) < float("inf"):
            return number
        self.fault("bad_value", column, f"is {value!r}, not a number")
        return None

    def interval(self, column: str) -> Interval | None:
        """Return an interval such as "1 w", None where the cell is empty or wrong."""
        value = self.text(column, needed=False)
        try:
            return Interval.parse(value) if value else None
        except ValueError as error:
            self.fault("bad_value", column, f"is {error}")
            return None
