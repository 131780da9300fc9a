"""What one release says, as text: rows under column names. Read from a folder, or from what a release keeps."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fleet.catalog.rows import Faults, Row
from fleet.catalog.tables import COLUMNS, read_table
from fleet.catalog.texts import FILE as TEXTS
from fleet.catalog.texts import read_texts


@dataclass(frozen=True, slots=True)
class Content:
    """All rows by file, and the long texts by section; `lines` tells where a text stands."""

    tables: Mapping[str, list[Row]]
    texts: Mapping[str, Mapping[str, str]]
    lines: Mapping[tuple[str, str], int]

    def as_json(self) -> dict[str, Any]:
        """What a release keeps: the cells, without the places they stood at."""
        tables = {file: [dict(row.cells) for row in rows] for file, rows in self.tables.items()}
        return {**tables, TEXTS: {section: dict(texts) for section, texts in self.texts.items()}}

    def digest(self) -> str:
        """SHA-256 over what is said, whatever the quoting, spacing or line ends it was written with."""
        told = json.dumps(self.as_json(), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(told.encode()).hexdigest()


def read_folder(folder: Path, faults: Faults) -> Content:
    """Read every file of a catalogue; what can't be read is noted and stands in as empty."""
    tables = {file: read_table(folder, file, faults) for file in COLUMNS}
    texts, lines = read_texts(folder, faults)
    for path in sorted(folder.glob("*.csv")):
        if path.name not in COLUMNS:
            faults.note("unknown_file", "is no table of the catalogue", path.name)
    return Content(tables, texts, lines)


def from_json(kept: Mapping[str, Any], faults: Faults) -> Content:
    """Rebuild the content of a release from what it keeps; line 2 is the first row, as in its file."""
    tables = {
        file: [Row(file, n, cells, faults) for n, cells in enumerate(kept.get(file, []), start=2)] for file in COLUMNS
    }
    return Content(tables, kept.get(TEXTS, {}), {})
