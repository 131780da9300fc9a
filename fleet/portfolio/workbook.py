"""Reading XLSX. A formula is refused, its last value never read; a day is read as a day, a number as a number."""

import io
import re
from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from openpyxl import load_workbook

from fleet.errors import Fault
from fleet.portfolio import archive
from fleet.portfolio.columns import YES_OR_NO, as_text, is_day
from fleet.portfolio.table import (
    MOST_COLUMNS,
    MOST_FAULTS,
    MOST_ROWS,
    Record,
    Table,
    column_name,
    letter,
    refused,
    spaceless,
)

NAME = "register"  # of the sheet, where there are several
_FINE = re.compile(r"[^\n\r]+")


def table(content: bytes) -> Table:
    """Read the only visible sheet, or the one named register. Raises Refused where that can't be read."""
    merged = archive.checked(content)
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
    except Exception as error:  # the library raises all kinds of errors for a damaged part
        raise refused("not_a_workbook", f"This can't be read as a workbook: {_said(error)}.") from None
    try:
        sheet, notes = _sheet(book)
        own = merged.get(sheet._worksheet_path.lstrip("/"), [])
        return _Rows(sheet).read([archive.merged_fault(ref) for ref in own[:MOST_FAULTS]], notes)
    finally:
        book.close()


def _said(error: Exception) -> str:
    found = _FINE.match(str(error))
    return found[0][:120] if found else type(error).__name__


def _sheet(book: Any) -> tuple[Any, list[str]]:
    """Return the sheet to read, and a note for each sheet that is left out."""
    sheets = list(book.worksheets)
    shown = [s for s in sheets if s.sheet_state == "visible"]
    notes = [f"The hidden sheet {s.title!r} was left out." for s in sheets if s not in shown]
    named = [s for s in shown if s.title.strip().lower() == NAME]
    if not shown:
        raise refused("no_sheet", "Every sheet of it is hidden.")
    if len(shown) > 1 and len(named) != 1:
        raise refused("which_sheet", f"It has {len(shown)} sheets: name the one to read {NAME!r}.")
    chosen = named[0] if named else shown[0]
    notes += [f"The sheet {s.title!r} was left out." for s in shown if s is not chosen]
    return chosen, notes


class _Rows:
    """Reads the rows of a sheet as texts, and notes a fault for each cell that can't be read."""

    def __init__(self, sheet: Any) -> None:
        sheet.reset_dimensions()  # the size stated in the file may be wrong
        self.sheet = sheet
        self.header: list[str] = []
        self.faults: list[Fault] = []

    def read(self, faults: list[Fault], notes: list[str]) -> Table:
        """Return all rows as a table."""
        self.faults += faults
        records: list[tuple[int, Record]] = []
        for number, cells in self._cells():
            record = ["" if c.value is None else self._text(number, n, c) for n, c in enumerate(cells)]
            while record and not record[-1]:
                record.pop()
            if number == 1:
                self._first(record)
            elif record:
                records.append((number, self._fit(number, record)))
        return Table(self.header, records, tuple(self.faults), tuple(notes))

    def _cells(self) -> Iterator[tuple[int, Any]]:
        try:
            for number, cells in enumerate(self.sheet.iter_rows(), start=1):
                if number > MOST_ROWS + 1:
                    raise refused("too_many_rows", f"A sheet has at most {MOST_ROWS:,} rows.", number)
                yield number, cells
        except (ValueError, TypeError, KeyError, IndexError, AttributeError, SyntaxError, OverflowError) as error:
            raise refused("not_a_workbook", f"The sheet can't be read: {_said(error)}.") from None

    def _first(self, record: Record) -> None:
        if len(record) > MOST_COLUMNS:
            raise refused("too_many_columns", f"A sheet has at most {MOST_COLUMNS} columns.", 1)
        self.header = record

    def _fit(self, number: int, record: Record) -> Record:
        if len(record) > len(self.header):
            told = f"Column {letter(len(self.header))} has no name in the first row."
            self._fault("too_many_cells", told, number, len(self.header))
        return record[: len(self.header)]

    def _text(self, number: int, column: int, cell: Any) -> str:
        value = cell.value
        if value == "":
            return ""
        kind = cell.data_type
        if kind == "f":
            return self._fault("formula", "A formula: put its value here.", number, column)
        if kind == "e":
            return self._fault("error_cell", f"An error, {str(value)[:20]}, and no value.", number, column)
        if isinstance(value, str):
            return spaceless(value)
        return self._plain(number, column, value)

    def _plain(self, number: int, column: int, value: Any) -> str:
        name = self.header[column] if column < len(self.header) else ""
        if isinstance(value, bool):
            told = "Yes or no stands here, where another value belongs."
            return as_text(value) if name in YES_OR_NO else self._fault("not_here", told, number, column)
        if isinstance(value, (int, float)):
            return as_text(value)
        if isinstance(value, (datetime, date)) and is_day(name):
            return value.isoformat()[:10] if value == _midnight(value) else value.isoformat(" ")
        told = f"A date or time ({value}) stands here, where a text or number belongs: format the cell as text."
        return self._fault("not_here", told, number, column)

    def _fault(self, code: str, told: str, number: int, column: int) -> str:
        if len(self.faults) <= 2 * MOST_FAULTS:
            self.faults.append(Fault(code, told, (number, column_name(self.header, column))))
        return ""


def _midnight(value: date) -> date:
    return value.replace(hour=0, minute=0, second=0, microsecond=0) if isinstance(value, datetime) else value
