"""Reading XLSX. A formula is refused, its last value never read; a day is read as a day, a number as a number."""

import io
import re
from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from openpyxl import load_workbook

from fleet.errors import Fault
from fleet.sheets import archive
from fleet.sheets.columns import YES_NO_COLUMNS, as_text, is_day
from fleet.sheets.table import (
    MAX_COLUMNS,
    MAX_FAULTS,
    MAX_ROWS,
    Record,
    SheetTable,
    column_letter,
    column_name,
    file_refusal,
    strip_cell,
)

SHEET_NAME = "register"  # of the sheet, where there are several
_FIRST_LINE = re.compile(r"[^\n\r]+")


def read_workbook(content: bytes) -> SheetTable:
    """Read the only visible sheet, or the one named register. Raises Refused where that can't be read."""
    merged = archive.check_archive(content)
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
    except Exception as error:  # the library raises all kinds of errors for a damaged part
        raise file_refusal("not_a_workbook", f"This can't be read as a workbook: {_error_in_words(error)}.") from None
    try:
        sheet, notes = _choose_sheet(book)
        merged_refs = merged.get(sheet._worksheet_path.lstrip("/"), [])
        return _SheetReader(sheet).read_rows([archive.merged_fault(ref) for ref in merged_refs[:MAX_FAULTS]], notes)
    finally:
        book.close()


def _error_in_words(error: Exception) -> str:
    match = _FIRST_LINE.match(str(error))
    return match[0][:120] if match else type(error).__name__


def _choose_sheet(book: Any) -> tuple[Any, list[str]]:
    """Return the sheet to read, and a note for each sheet that is left out."""
    sheets = list(book.worksheets)
    visible_sheets = [s for s in sheets if s.sheet_state == "visible"]
    notes = [f"The hidden sheet {s.title!r} was left out." for s in sheets if s not in visible_sheets]
    named_sheets = [s for s in visible_sheets if s.title.strip().lower() == SHEET_NAME]
    if not visible_sheets:
        raise file_refusal("no_sheet", "All of its sheets are hidden.")
    if len(visible_sheets) > 1 and len(named_sheets) != 1:
        raise file_refusal("which_sheet", f"It has {len(visible_sheets)} sheets: name the one to read {SHEET_NAME!r}.")
    sheet = named_sheets[0] if named_sheets else visible_sheets[0]
    notes += [f"The sheet {s.title!r} was left out." for s in visible_sheets if s is not sheet]
    return sheet, notes


class _SheetReader:
    """Reads the rows of a sheet as texts, and notes a fault for each cell that can't be read."""

    def __init__(self, sheet: Any) -> None:
        sheet.reset_dimensions()  # the size stated in the file may be wrong
        self.sheet = sheet
        self.header: list[str] = []
        self.faults: list[Fault] = []

    def read_rows(self, faults: list[Fault], notes: list[str]) -> SheetTable:
        """Return all rows as a table."""
        self.faults += faults
        records: list[tuple[int, Record]] = []
        for number, cells in self._iterate_cells():
            record = ["" if c.value is None else self._cell_text(number, n, c) for n, c in enumerate(cells)]
            while record and not record[-1]:
                record.pop()
            if number == 1:
                self._take_header(record)
            elif record:
                records.append((number, self._fit_record(number, record)))
        return SheetTable(self.header, records, tuple(self.faults), tuple(notes))

    def _iterate_cells(self) -> Iterator[tuple[int, Any]]:
        try:
            for number, cells in enumerate(self.sheet.iter_rows(), start=1):
                if number > MAX_ROWS + 1:
                    raise file_refusal("too_many_rows", f"A sheet can have at most {MAX_ROWS:,} rows.", number)
                yield number, cells
        except (ValueError, TypeError, KeyError, IndexError, AttributeError, SyntaxError, OverflowError) as error:
            raise file_refusal("not_a_workbook", f"The sheet can't be read: {_error_in_words(error)}.") from None

    def _take_header(self, record: Record) -> None:
        if len(record) > MAX_COLUMNS:
            raise file_refusal("too_many_columns", f"A sheet can have at most {MAX_COLUMNS} columns.", 1)
        self.header = record

    def _fit_record(self, number: int, record: Record) -> Record:
        if len(record) > len(self.header):
            message = f"Column {column_letter(len(self.header))} has no name in the first row."
            self._note_fault("too_many_cells", message, number, len(self.header))
        return record[: len(self.header)]

    def _cell_text(self, number: int, column: int, cell: Any) -> str:
        value = cell.value
        if value == "":
            return ""
        kind = cell.data_type
        if kind == "f":
            return self._note_fault("formula", "This is a formula. Enter its value instead.", number, column)
        if kind == "e":
            return self._note_fault("error_cell", f"This is an error ({str(value)[:20]}), not a value.", number, column)
        if isinstance(value, str):
            return strip_cell(value)
        return self._value_text(number, column, value)

    def _value_text(self, number: int, column: int, value: object) -> str:
        name = self.header[column] if column < len(self.header) else ""
        if isinstance(value, bool):
            message = "This is yes or no, but another value belongs here."
            return as_text(value) if name in YES_NO_COLUMNS else self._note_fault("not_here", message, number, column)
        if isinstance(value, (int, float)):
            return as_text(value)
        if isinstance(value, (datetime, date)) and is_day(name):
            return str(value)[:10] if value == _midnight_of(value) else str(value)
        message = f"This is a date or time ({value}), but a text or number belongs here. Format the cell as text."
        return self._note_fault("not_here", message, number, column)

    def _note_fault(self, code: str, message: str, number: int, column: int) -> str:
        if len(self.faults) <= 2 * MAX_FAULTS:
            self.faults.append(Fault(code, message, (number, column_name(self.header, column))))
        return ""


def _midnight_of(value: date) -> date:
    return value.replace(hour=0, minute=0, second=0, microsecond=0) if isinstance(value, datetime) else value
