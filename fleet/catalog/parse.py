"""From a folder or a stored release to the catalogue. It is read whole, or refused with every fault."""

from collections.abc import Collection, Mapping
from pathlib import Path

from fleet.catalog.build import build_catalogue
from fleet.catalog.check import check_catalogue
from fleet.catalog.content import Content, from_json, read_folder
from fleet.catalog.rows import Faults
from fleet.rules.catalogue import Catalogue


def read_release(folder: Path, release: int) -> tuple[Content, Catalogue]:
    """Return the content of a folder as text and as values. Raises Refused with every fault."""
    faults = Faults()
    return _build_whole(read_folder(folder, faults), release, faults)


def rebuild_catalogue(stored: Mapping[str, object], release: int) -> Catalogue:
    """Return the catalogue of a stored release. Raises Refused where the present rules can't read it.

    It may lack findings and observations that the rules learned of since: while it is in force they are not raised.
    """
    faults = Faults()
    return _build_whole(from_json(stored, faults), release, faults, stored_files=stored.keys())[1]


def _build_whole(
    content: Content, release: int, faults: Faults, *, stored_files: Collection[str] | None = None
) -> tuple[Content, Catalogue]:
    catalogue = build_catalogue(content, release)
    # A table that could not be read would make every reference to it a fault; its own fault is noted already. A stored
    # release lacks the tables that were added since.
    is_stored = stored_files is not None
    if all(rows for file, rows in content.tables.items() if stored_files is None or file in stored_files):
        check_catalogue(content, catalogue, faults, is_stored=is_stored)
    faults.refuse_if_any()
    return content, catalogue
