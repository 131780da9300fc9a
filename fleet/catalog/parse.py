"""From a folder, or from what a release keeps, to the catalogue: whole, or refused whole with every fault."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fleet.catalog.build import build
from fleet.catalog.check import check
from fleet.catalog.content import Content, from_json, read_folder
from fleet.catalog.rows import Faults
from fleet.rules.catalogue import Catalogue


def parse(folder: Path, release: int) -> Catalogue:
    """Return the catalogue that a folder holds; Refused with file, line and column of everything wrong in it."""
    return read(folder, release)[1]


def read(folder: Path, release: int) -> tuple[Content, Catalogue]:
    """Return what a folder says, as text and as values; Refused with everything wrong in it."""
    faults = Faults()
    return _whole(read_folder(folder, faults), release, faults)


def rebuild(kept: Mapping[str, Any], release: int) -> Catalogue:
    """Return the catalogue of a release from the content it keeps; Refused where today's rules can't read it."""
    faults = Faults()
    return _whole(from_json(kept, faults), release, faults)[1]


def _whole(content: Content, release: int, faults: Faults) -> tuple[Content, Catalogue]:
    made = build(content, release)
    # A table that could not be read would make every reference to it a fault of its own: its cause is noted already.
    if all(content.tables.values()):
        check(content, made, faults)
    faults.refuse_if_any()
    return content, made
