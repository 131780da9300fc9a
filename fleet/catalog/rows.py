"""One row of a table and reading its cells. Faults are noted with file, line and column, and raised together later."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from fleet.calendar import Interval
from fleet.errors import Fault, Refused

NEEDS_VALUE = "needs a value"


@dataclass(slots=True)
class Faults:
    """The faults noted so far; the catalogue is refused with all of them."""

    noted_faults: list[Fault] = field(default_factory=list)

    def note_fault(self, code: str, message: str, file: str, line: int = 1, column: str = "") -> None:
        """Note one fault at its place."""
        self.noted_faults.append(Fault(code, message, (file, line, column)))

    def refuse_if_any(self) -> None:
        """Raise Refused with all noted faults, in the order of files and lines, if there are any."""
        if self.noted_faults:
            raise Refused.from_faults(sorted(self.noted_faults, key=lambda f: (str(f.at[0]), f.at[1])))


@dataclass(frozen=True, slots=True)
class TableRow:
    """One line of one file: text under column names."""

    file: str
    line: int
    cells: Mapping[str, str]
    faults: Faults

    def note_fault(self, code: str, column: str, message: str) -> None:
        """Note a fault of one cell."""
        self.faults.note_fault(code, message, file=self.file, line=self.line, column=column)

    def text_of(self, column: str, needed: bool = True) -> str:
        """Return a cell's text; an empty cell is a fault where it is `needed`."""
        value = self.cells.get(column, "")
        if needed and not value:
            self.note_fault("empty_source" if column == "source" else "empty", column, NEEDS_VALUE)
        return value

    def parts_of(self, column: str, needed: bool = False) -> tuple[str, ...]:
        """Return the parts of a cell between | bars; an empty or repeated part is a fault."""
        value = self.text_of(column, needed)
        parts = tuple(value.split("|")) if value else ()
        if "" in parts or len(set(parts)) < len(parts):
            self.note_fault("bad_value", column, f"has an empty or repeated part: {value!r}")
        return parts

    def is_yes(self, column: str) -> bool:
        """Return whether a yes-or-no cell says yes."""
        return self.word_of(column, ("yes", "no")) == "yes"

    def word_of(self, column: str, allowed: Collection[str]) -> str:
        """Return a cell that must be one of the allowed words; '' only where it is among them."""
        value = self.cells.get(column, "")
        if value not in allowed:
            words = ", ".join(sorted(w for w in allowed if w))
            self.note_fault("bad_value", column, f"is {value!r}; it must be one of: {words}")
        return value

    def words_of(self, column: str, allowed: Collection[str], needed: bool = False) -> frozenset[str]:
        """Return the parts of a cell, each of which must be one of the allowed words."""
        parts = self.parts_of(column, needed)
        for part in parts:
            if part not in allowed:
                self.note_fault("bad_value", column, f"has {part!r}; allowed are: {', '.join(sorted(allowed))}")
        return frozenset(parts)

    def whole_number_of(self, column: str) -> int:
        """Return a whole number of 0 or more; 0 where the cell is wrong."""
        value = self.text_of(column)
        if value.isascii() and value.isdigit():
            return int(value)
        if value:
            self.note_fault("bad_value", column, f"is {value!r}, not a whole number of 0 or more")
        return 0

    def number_of(self, column: str) -> float | None:
        """Return a finite number, None where the cell is empty or wrong."""
        value = self.text_of(column, needed=False)
        if not value:
            return None
        try:
            number = float(value)
        except ValueError:
            number = float("nan")
        if abs(number) < float("inf"):
            return number
        self.note_fault("bad_value", column, f"is {value!r}, not a number")
        return None

    def interval_of(self, column: str) -> Interval | None:
        """Return an interval such as "1 w", None where the cell is empty or wrong."""
        value = self.text_of(column, needed=False)
        try:
            return Interval.parse(value) if value else None
        except ValueError as error:
            self.note_fault("bad_value", column, f"is {error}")
            return None
