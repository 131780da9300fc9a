"""Workbooks to read: good ones by the library, bad ones by hand."""

import io
from collections.abc import Iterable
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

from openpyxl import Workbook

from fleet.errors import FaultPath, Refused
from fleet.sheets import files
from fleet.sheets.register_sheet import SheetRow, rows_of
from fleet.sheets.table import SheetTable
from tests.portfolio.sheets import CATALOGUE, CELLS, cell


def cells(**changed: Any) -> list[Any]:
    """One row of cells, as the small sheet has it."""
    return list({**CELLS, **{cell(name): value for name, value in changed.items()}}.values())


def book(*rows: Iterable[Any], title: str = "register") -> Workbook:
    """A workbook of one sheet."""
    made = Workbook()
    sheet = made.active
    sheet.title = title
    for row in (list(CELLS), *rows):
        sheet.append([None if value == "" else value for value in row])
    return made


def saved(made: Workbook) -> bytes:
    """Its bytes."""
    written = io.BytesIO()
    made.save(written)
    return written.getvalue()


def repacked(content: bytes, **changed: bytes) -> bytes:
    """The same workbook with parts changed or added; a name is written with __ for / and _dot_ for a point."""
    parts = {name.replace("__", "/").replace("_dot_", "."): data for name, data in changed.items()}
    written = io.BytesIO()
    with ZipFile(io.BytesIO(content)) as old, ZipFile(written, "w", ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, parts.pop(name, old.read(name)))
        for name, data in parts.items():
            new.writestr(name, data)
    return written.getvalue()


def part(content: bytes, name: str = "xl/worksheets/sheet1.xml") -> bytes:
    """One part of a workbook."""
    with ZipFile(io.BytesIO(content)) as packed:
        return packed.read(name)


def table(content: bytes) -> SheetTable:
    """Read by the one way in."""
    return files.read_table(content, CATALOGUE)


def rows(content: bytes) -> list[SheetRow]:
    """Its rows."""
    return rows_of(table(content), CATALOGUE)


def faults(content: bytes) -> list[tuple[str, FaultPath]]:
    """(code, place) of every fault; none where the file is read."""
    try:
        rows(content)
    except Refused as refused:
        return [(f.code, f.at) for f in refused.faults]
    return []
