"""Reading CSV in UTF-8 or UTF-16, parted by commas, semicolons or tabs. Faults carry their row and column."""

import csv
import io
import re
from collections.abc import Collection, Iterator

from fleet.errors import Fault, Refused
from fleet.portfolio.table import MOST_COLUMNS, MOST_ROWS, Record, Table, column_name, refused, spaceless

SEPARATORS = (",", ";", "\t")
BOM = "\ufeff"
# The export puts an apostrophe before a text that a spreadsheet would take for a formula; it is removed here.
GUARDED = re.compile(r"'+[=+\-@\t\r]")


def decoded(content: bytes) -> str:
    """Return the text of a file. Raises Refused at the row and column of a byte that is not UTF-8."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return _utf16(content)
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _not_utf8(content, error.start) from None


def _utf16(content: bytes) -> str:
    try:
        return content.decode("utf-16")
    except UnicodeDecodeError:
        raise refused("not_utf16", "This begins as UTF-16 and is not: half of it may be missing.") from None


def _not_utf8(content: bytes, start: int) -> Refused:
    """Return the fault of a byte that is not UTF-8, at the row and column where the text before it ends."""
    before = content[:start].decode("utf-8")
    with_comma = max(SEPARATORS, key=before.partition("\n")[0].count)
    rows = list(csv.reader(io.StringIO(before.removeprefix(BOM) + "x", newline=""), delimiter=with_comma))
    byte = f"{content[start]:#04x}"
    told = f"Byte {byte} is not UTF-8: save the file as CSV UTF-8. Files of older office programs often are not."
    header = [spaceless(name) for name in rows[0]] if len(rows) > 1 else []
    return refused("not_utf8", told, len(rows), column_name(header, len(rows[-1]) - 1))


def table(text: str, known: Collection[str]) -> Table:
    """Read a CSV text as a table. Raises Refused where it is none: an open quote, too many rows or columns."""
    text = text.lstrip(BOM)
    separator = _separator(text, known)
    found = _Reading(text, separator)
    header = [spaceless(name) for name in next(found, [])]
    if len(header) > MOST_COLUMNS:
        raise refused("too_many_columns", f"A sheet has at most {MOST_COLUMNS} columns.", 1)
    made = _Table(header)
    for number, record in enumerate(found, start=2):
        made.take(number, record)
    return Table(header, made.records, tuple(made.faults))


class _Table:
    """The rows read so far, and the faults of their shape."""

    def __init__(self, header: list[str]) -> None:
        self.width = len(header)
        self.records: list[tuple[int, Record]] = []
        self.faults: list[Fault] = []

    def take(self, number: int, record: Record) -> None:
        """Add one row unless it is empty. A wrong number of cells is a fault: every value after the comma has moved."""
        cells = [_cell(text) for text in record]
        if not any(cells):
            return
        if len(self.records) == MOST_ROWS:
            raise refused("too_many_rows", f"A sheet has at most {MOST_ROWS:,} rows.", number)
        if len(cells) != self.width:
            told = f"{len(cells)} cells where the first row has {self.width}."
            self.faults.append(Fault("too_few_cells" if len(cells) < self.width else "too_many_cells", told, (number,)))
        self.records.append((number, cells[: self.width]))


def _cell(text: str) -> str:
    if not text:
        return ""
    text = spaceless(text)
    return text[1:] if text[:1] == "'" and GUARDED.match(text) else text


def _separator(text: str, known: Collection[str]) -> str:
    """Return the separator by which most names of the first row are known columns; a comma where none is."""
    top = next(iter(io.StringIO(text, newline=None)), "")

    def names(separator: str) -> int:
        cells = next(csv.reader([top], delimiter=separator), [])
        return len({spaceless(cell) for cell in cells} & set(known))

    return max(SEPARATORS, key=names)


class _Reading(Iterator[Record]):
    """The records of a text one by one. Raises Refused, with row and if possible column, where it is no table."""

    def __init__(self, text: str, separator: str) -> None:
        self.text, self.separator, self.row = text, separator, 0
        self.header: Record = []
        self.records = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)

    def __next__(self) -> Record:
        """Return the next record."""
        try:
            record = next(self.records)
        except csv.Error as error:
            raise self._no_table(str(error)) from None
        self.row += 1
        self.header = self.header or record
        return record

    def _no_table(self, said: str) -> Refused:
        row = self.row + 1
        if "field larger" in said:
            told = f"A cell has more than {csv.field_size_limit():,} characters: a quote may be open."
            return refused("not_a_table", told, row)
        column = column_name([spaceless(n) for n in self.header], self._cells_of(row) - 1)
        if "unexpected end of data" in said:
            told = "The file ends inside a quoted cell: half of it may be missing, or a quote is open."
            return refused("half_a_file", told, row, column)
        told = f"This can't be read as a table: {said}."
        return refused("not_a_table", told, row) if '"' in said else refused("not_a_table", told, row, column)

    def _cells_of(self, row: int) -> int:
        """Return how many cells the broken row has up to its end, read leniently."""
        lenient = csv.reader(io.StringIO(self.text, newline=""), delimiter=self.separator)
        return next((len(record) for number, record in enumerate(lenient, start=1) if number == row), 1)
