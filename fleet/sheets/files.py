"""Reading a sheet from a file: CSV and XLSX are told apart by the first bytes, never by the name."""

from fleet.rules.catalogue import Catalogue
from fleet.sheets import columns, delimited, workbook
from fleet.sheets.table import MAX_BYTES, SheetTable, file_refusal

ZIP_SIGNATURE = b"PK\x03\x04"
COMPOUND_FILE_SIGNATURE = b"\xd0\xcf\x11\xe0"


def read_table(content: bytes, catalogue: Catalogue) -> SheetTable:
    """Read a file as a table. Raises Refused for a file that is too large, neither CSV nor XLSX, or damaged."""
    if len(content) > MAX_BYTES:
        raise file_refusal("too_large", f"A file can be at most {MAX_BYTES >> 20} MiB.")
    if content.startswith(COMPOUND_FILE_SIGNATURE):
        raise file_refusal(
            "older_workbook", "This is an older workbook, or one with a password. Save it as .xlsx without a password."
        )
    if content[:2] == ZIP_SIGNATURE[:2]:
        return workbook.read_workbook(content)
    if content.startswith(b"%PDF") or content[:1] == b"\x1f":
        raise file_refusal("not_a_table", "This is neither CSV nor a workbook (.xlsx).")
    return delimited.read_delimited(delimited.decode_text(content), columns.known_columns(catalogue))
