"""Sheets to read: one row of the float chamber of boiler 1, with whatever is to be different."""

from fleet.catalog.parse import read_release
from fleet.errors import FaultPath, Refused
from fleet.sheets.register_sheet import parse_sheet
from tests.cast import ROOT

CATALOGUE = read_release(ROOT / "fixtures" / "catalogue", 1)[1]
CELLS = {
    "building_ref": "ALD12",
    "address": "12 Alder Terrace",
    "zone": "America/New_York",
    "units": "31",
    "boiler_ref": "B1",
    "boiler_name": "Boiler 1",
    "since": "2019-10-01",
    "output_btu_h": "1100000",
    "lowest_safe_line_in": "1",
    "position_ref": "chamber",
    "position_name": "float chamber",
    "role": "float_chamber",
    "hangs_on": "",
    "kind": "float_chamber",
    "fitted_on": "2019-10-01",
    "set_psi": "",
    "reset": "",
}
SHORT = {"ref": "position_ref", "name": "position_name"}
LIMIT = {"ref": "limit", "role": "high_limit", "kind": "limit_control", "set_psi": "8"}


def cell(short: str) -> str:
    """The column of a short name."""
    return SHORT.get(short, short)


def row(**cells: str) -> str:
    """One row, written as it is given: what needs quotes brings them."""
    return ",".join({**CELLS, **{cell(name): text for name, text in cells.items()}}.values())


def sheet(*rows: str) -> str:
    """A sheet of these rows."""
    return "".join(f"{line}\n" for line in (",".join(CELLS), *rows))


def faults(text: str) -> list[tuple[str, FaultPath]]:
    """(code, place) of every fault; none where the sheet is read."""
    try:
        parse_sheet(text, CATALOGUE)
    except Refused as refused:
        return [(f.code, f.at) for f in refused.faults]
    return []
