"""Reading CSV in UTF-8 or UTF-16, parted by commas, semicolons or tabs. Faults carry their row and column."""

import csv
import io
import re
from collections.abc import Collection, Iterator

from fleet.errors import Fault, Refused
from fleet.sheets.table import MAX_COLUMNS, MAX_ROWS, Record, SheetTable, column_name, file_refusal, strip_cell

SEPARATORS = (",", ";", "\t")
MAX_LINE_LENGTH = 1_000_000
BOM = "\ufeff"
# The export puts an apostrophe before a text that a spreadsheet would take for a formula; it is removed here.
GUARDED_FORMULA = re.compile(r"'+[=+\-@\t\r]")


def decode_text(content: bytes) -> str:
    """Return the text of a file. Raises Refused at the row and column of a byte that is not UTF-8."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return _decode_utf16(content)
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _not_utf8_error(content, error.start) from None


def _decode_utf16(content: bytes) -> str:
    try:
        return content.decode("utf-16")
    except UnicodeDecodeError:
        raise file_refusal(
            "not_utf16", "This starts like UTF-16 but is not valid. Part of it may be missing."
        ) from None


def _not_utf8_error(content: bytes, start: int) -> Refused:
    """Return the fault of a byte that is not UTF-8, at the row and column where the text before it ends."""
    before = content[:start].decode("utf-8")
    with_comma = max(SEPARATORS, key=before.partition("\n")[0].count)
    rows = list(csv.reader(io.StringIO(before.removeprefix(BOM) + "x", newline=""), delimiter=with_comma))
    byte = f"{content[start]:#04x}"
    message = f"Byte {byte} is not UTF-8: save the file as CSV UTF-8. Files of older office programs often are not."
    header = [strip_cell(name) for name in rows[0]] if len(rows) > 1 else []
    return file_refusal("not_utf8", message, len(rows), column_name(header, len(rows[-1]) - 1))


def read_delimited(text: str, known_columns: Collection[str]) -> SheetTable:
    """Read a CSV text as a table. Raises Refused where it is none: an open quote, too many rows or columns."""
    text = text.lstrip(BOM)
    separator = _guess_separator(text, known_columns)
    reader = _RecordReader(text, separator)
    header = [strip_cell(name) for name in next(reader, [])]
    if len(header) > MAX_COLUMNS:
        raise file_refusal("too_many_columns", f"A sheet can have at most {MAX_COLUMNS} columns.", 1)
    builder = _TableBuilder(header)
    for number, record in enumerate(reader, start=2):
        builder.add_row(number, record)
    return SheetTable(header, builder.records, tuple(builder.faults))


class _TableBuilder:
    """The rows read so far, and the faults of their shape."""

    def __init__(self, header: list[str]) -> None:
        self.width = len(header)
        self.records: list[tuple[int, Record]] = []
        self.faults: list[Fault] = []

    def add_row(self, number: int, record: Record) -> None:
        """Add one row unless it is empty. A wrong number of cells is a fault: every value after the comma has moved."""
        cells = [_clean_cell(text) for text in record]
        if not any(cells):
            return
        if len(self.records) == MAX_ROWS:
            raise file_refusal("too_many_rows", f"A sheet can have at most {MAX_ROWS:,} rows.", number)
        if len(cells) != self.width:
            message = f"{len(cells)} cells, but the first row has {self.width}."
            self.faults.append(
                Fault("too_few_cells" if len(cells) < self.width else "too_many_cells", message, (number,))
            )
        self.records.append((number, cells[: self.width]))


def _clean_cell(text: str) -> str:
    if not text:
        return ""
    text = strip_cell(text)
    return text[1:] if text[:1] == "'" and GUARDED_FORMULA.match(text) else text


def _guess_separator(text: str, known_columns: Collection[str]) -> str:
    """Return the separator by which most names of the first row are known columns; the most frequent if none is."""
    top = next(iter(io.StringIO(text, newline=None)), "")[:MAX_LINE_LENGTH]

    def count_known_names(separator: str) -> tuple[int, int]:
        try:
            cells = next(csv.reader([top], delimiter=separator), [])
        except csv.Error:  # a name longer than any cell may be
            cells = []
        return len({strip_cell(cell) for cell in cells} & set(known_columns)), top.count(separator)

    return max(SEPARATORS, key=count_known_names)


def _line_too_long(row: int) -> Refused:
    if row == 1:
        return file_refusal("too_many_columns", f"A sheet can have at most {MAX_COLUMNS} columns.", row)
    return file_refusal("row_too_long", f"A row can be at most {MAX_LINE_LENGTH:,} characters long.", row)


class _RecordReader(Iterator[Record]):
    """The records of a text one by one. Raises Refused, with row and if possible column, where it is no table."""

    def __init__(self, text: str, separator: str) -> None:
        self.text, self.separator, self.row = text, separator, 0
        self.header: Record = []
        self.records = csv.reader(self._bounded_lines(), delimiter=separator, strict=True)

    def __next__(self) -> Record:
        """Return the next record."""
        try:
            record = next(self.records)
        except csv.Error as error:
            raise self._not_a_table_error(str(error)) from None
        self.row += 1
        self.header = self.header or record
        return record

    def _bounded_lines(self) -> Iterator[str]:
        """Yield the lines. A line of millions of cells would take seconds and a hundred times its size in memory."""
        for line in io.StringIO(self.text, newline=""):
            if len(line) > MAX_LINE_LENGTH:
                raise _line_too_long(self.row + 1)
            yield line

    def _not_a_table_error(self, parser_message: str) -> Refused:
        row = self.row + 1
        if "field larger" in parser_message:
            message = f"A cell has more than {csv.field_size_limit():,} characters: a quote may be open."
            return file_refusal("not_a_table", message, row)
        column = column_name([strip_cell(n) for n in self.header], self._cells_of(row) - 1)
        if "unexpected end of data" in parser_message:
            message = "The file ends inside a quoted cell. Part of it may be missing, or a quote is not closed."
            return file_refusal("half_a_file", message, row, column)
        message = f"This can't be read as a table: {parser_message}."
        return (
            file_refusal("not_a_table", message, row)
            if '"' in parser_message
            else file_refusal("not_a_table", message, row, column)
        )

    def _cells_of(self, row: int) -> int:
        """Return how many cells the broken row has up to its end, read leniently."""
        lenient = csv.reader(io.StringIO(self.text, newline=""), delimiter=self.separator)
        return next((len(record) for number, record in enumerate(lenient, start=1) if number == row), 1)
