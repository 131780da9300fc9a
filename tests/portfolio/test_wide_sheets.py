"""A sheet of a hundred thousand columns is refused with one clear fault, and soon."""

import time

import pytest

from fleet.errors import Refused
from fleet.sheets.files import read_table
from fleet.sheets.table import MAX_BYTES
from tests.portfolio.sheets import CATALOGUE

SECONDS = 3.0  # of this process's own work
WIDE = 100_000


def fault_of(content: bytes) -> str:
    """The code of the first fault, found soon."""
    begun = time.process_time()
    try:
        faults = read_table(content, CATALOGUE).faults
    except Refused as refused:
        faults = refused.faults
    assert time.process_time() - begun < SECONDS
    return faults[0].code


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("cell", ["", "c", '"c"', "building_ref"])
def test_a_header_of_a_hundred_thousand_columns_is_refused(separator: str, cell: str) -> None:
    assert fault_of(separator.join([cell] * WIDE).encode()) == "too_many_columns"


def test_a_header_as_long_as_a_file_may_be_is_refused() -> None:
    assert fault_of(b"c," * (MAX_BYTES // 2)) == "too_many_columns"


def test_a_row_of_a_hundred_thousand_cells_is_a_fault() -> None:
    assert fault_of(b"building_ref,boiler_ref\n" + b"c," * WIDE) == "too_many_cells"


def test_a_row_as_long_as_a_file_may_be_is_refused() -> None:
    assert fault_of(b"building_ref,boiler_ref\n" + b"c," * (MAX_BYTES // 2 - 100)) == "row_too_long"


def test_an_open_quote_before_a_hundred_thousand_cells_is_a_fault() -> None:
    assert fault_of(b'building_ref,"boiler_ref\n' + b"c," * WIDE)
