"""Reading a sheet from a file: CSV and XLSX are told apart by the first bytes, never by the name."""

from fleet.portfolio import columns, delimited, workbook
from fleet.portfolio.table import MOST_BYTES, Table, refused
from fleet.rules.catalogue import Catalogue

PACKED = b"PK\x03\x04"
OLDER = b"\xd0\xcf\x11\xe0"


def read(content: bytes, catalogue: Catalogue) -> Table:
    """Read a file as a table. Raises Refused for a file that is too large, neither CSV nor XLSX, or damaged."""
    if len(content) > MOST_BYTES:
        raise refused("too_large", f"A file is at most {MOST_BYTES >> 20} MiB.")
    if content.startswith(OLDER):
        raise refused("older_workbook", "An older workbook, or one with a password. Save it as .xlsx without one.")
    if content[:2] == PACKED[:2]:
        return workbook.table(content)
    if content.startswith(b"%PDF") or content[:1] == b"\x1f":
        raise refused("not_a_table", "This is neither CSV nor a workbook (.xlsx).")
    return delimited.table(delimited.decoded(content), columns.known(catalogue))
