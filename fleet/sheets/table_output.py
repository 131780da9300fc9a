"""Writing tables as CSV and XLSX, a row at a time. A text stays a text even where it begins like a formula.

In CSV such a text gets an apostrophe in front, which the import removes again; in XLSX its cell has the text type.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from fleet.sheets.columns import UNSTORABLE, as_text
from fleet.sheets.table import column_letter

CSV_TYPE = "text/csv"
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?", re.ASCII)
PIECE_BYTES = 64 * 1024

OutputRow = Sequence[Any]


def guard_formula(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: an apostrophe is put in front, also before another."""
    if _FORMULA.match(text) and not _PLAIN_NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def as_csv(rows: Iterable[OutputRow]) -> Iterator[bytes]:
    """Yield CSV in UTF-8 with a byte order mark, which office programs need. Numbers are not guarded."""
    csv_text = io.StringIO(newline="")
    put = csv.writer(csv_text).writerow
    csv_text.write("\ufeff")
    for row in rows:
        put([guard_formula(v) if isinstance(v, str) else as_text(v) for v in row])
        if csv_text.tell() > PIECE_BYTES:
            yield csv_text.getvalue().encode(errors="replace")
            csv_text.seek(0)
            csv_text.truncate()
    yield csv_text.getvalue().encode(errors="replace")


_XML_DECLARATION = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"
# The parts of a workbook that ECMA-376 requires at least.
_PARTS = {
    "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{_KIND}.sheet.main+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_KIND}.worksheet+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_OFFICE}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
}
_WORKBOOK_XML = (
    f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>'
    '<sheet name="{}" sheetId="1" r:id="rId1"/></sheets></workbook>'
)
_SHEET_OPENING = (
    f'<worksheet xmlns="{_MAIN}"><sheetViews><sheetView workbookViewId="0">'
    '<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews>'
    '<sheetFormatPr defaultRowHeight="15"/><cols><col min="1" max="200" width="18"/></cols><sheetData>'
)


class _PieceSink(io.RawIOBase):
    """Collects what the zip writer writes until it is taken. It cannot seek, so the zip writer never goes back."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []
        self.size = 0

    def writable(self) -> bool:
        """Return true: the zip writer asks."""
        return True

    def write(self, data: Any) -> int:
        """Keep a piece of output and return its length."""
        self.pieces.append(bytes(data))
        self.size += len(data)
        return len(data)

    def take_pieces(self) -> bytes:
        """Return the output since the last call, and forget it."""
        output, self.pieces, self.size = b"".join(self.pieces), [], 0
        return output


def as_xlsx(rows: Iterable[OutputRow], sheet: str = "register") -> Iterator[bytes]:
    """Yield a workbook of one sheet whose first row is frozen."""
    sink = _PieceSink()
    with ZipFile(sink, "w", ZIP_DEFLATED) as packed:
        for name, text in {**_PARTS, "xl/workbook.xml": _WORKBOOK_XML.format(escape(sheet, {'"': "&quot;"}))}.items():
            _write_part(packed, name, text)
        info = ZipInfo("xl/worksheets/sheet1.xml")
        info.compress_type = ZIP_DEFLATED
        with packed.open(info, "w") as stream:
            stream.write((_XML_DECLARATION + _SHEET_OPENING).encode())
            for number, row in enumerate(rows, start=1):
                stream.write(_row_xml(number, row).encode(errors="replace"))
                if sink.size > PIECE_BYTES:
                    yield sink.take_pieces()
            stream.write(b"</sheetData></worksheet>")
    yield sink.take_pieces()


def _write_part(packed: ZipFile, name: str, text: str) -> None:
    info = ZipInfo(name)
    info.compress_type = ZIP_DEFLATED
    packed.writestr(info, _XML_DECLARATION + text)


_LETTERS = [column_letter(n) for n in range(702)]


def _row_xml(number: int, row: OutputRow) -> str:
    cells = (_cell_xml(f"{_LETTERS[n]}{number}", value) for n, value in enumerate(row) if value not in ("", None))
    return f'<row r="{number}">{"".join(cells)}</row>'


def _cell_xml(at: str, value: Any) -> str:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return f'<c r="{at}"><v>{as_text(value)}</v></c>'
    text = escape(UNSTORABLE.sub("\ufffd", as_text(value)))
    return f'<c r="{at}" t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'
