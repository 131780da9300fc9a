"""A sheet file as a table of texts, for CSV and XLSX alike, with the limits of both."""

import json
import zlib
from dataclasses import dataclass

from fleet.errors import Fault, Refused

MAX_BYTES = 20 * 1024 * 1024
MAX_ROWS = 300_000
MAX_COLUMNS = 200
MAX_FAULTS = 500

Record = list[str]


@dataclass(frozen=True, slots=True)
class SheetTable:
    """The names of the columns, and the rows that are not empty, with their row numbers in the file.

    `faults`: what can't be read, each with its row and column; `notes`: what was left out on purpose.
    """

    header: list[str]
    records: list[tuple[int, Record]]
    faults: tuple[Fault, ...] = ()
    notes: tuple[str, ...] = ()


def pack_table(table: SheetTable) -> bytes:
    """Return a table without faults as compressed bytes, to be read again later."""
    parts = [table.header, table.records, table.notes]
    return zlib.compress(
        json.dumps(parts, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "surrogatepass"), 1
    )


def unpack_table(content: bytes) -> SheetTable:
    """Return the table that `pack_table` packed."""
    header, records, notes = json.loads(zlib.decompress(content).decode("utf-8", "surrogatepass"))
    return SheetTable(header, [(number, record) for number, record in records], notes=tuple(notes))


def column_letter(index: int) -> str:
    """Return the letters of the column at this index from 0: A, B … Z, AA."""
    name, left = "", index + 1
    while left:
        left, rest = divmod(left - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def column_name(header: list[str], index: int) -> str:
    """Return the name of a column in a fault: its name in the first row, else its letters."""
    column_name = header[index] if index < len(header) else ""
    return column_name[:64] or column_letter(index)


def file_refusal(code: str, message: str, *at: int | str) -> Refused:
    """Return the error of a file that is refused as a whole, perhaps at a row and column."""
    return Refused(code, message, tuple(at), status=422)


def strip_cell(text: str) -> str:
    """Return a cell's text without the spaces around it, with every line end as \\n."""
    return (text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text).strip()
