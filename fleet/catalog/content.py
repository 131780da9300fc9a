"""The content of one release as text: rows under column names, read from a folder or from a stored release."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fleet.catalog.older_findings import with_columns
from fleet.catalog.rows import Faults, TableRow
from fleet.catalog.tables import TABLE_COLUMNS, read_table
from fleet.catalog.texts import TEXTS_FILE as TEXTS
from fleet.catalog.texts import read_texts


@dataclass(frozen=True, slots=True)
class Content:
    """All rows by file, and the long texts by section; `lines` gives the line of each text."""

    tables: Mapping[str, list[TableRow]]
    texts: Mapping[str, Mapping[str, str]]
    lines: Mapping[tuple[str, str], int]

    def as_json(self) -> dict[str, object]:
        """Return the content as a release stores it: the cells, without their places."""
        tables = {file: [dict(row.cells) for row in rows] for file, rows in self.tables.items()}
        return {**tables, TEXTS: {section: dict(texts) for section, texts in self.texts.items()}}

    def content_digest(self) -> str:
        """Return the SHA-256 of the content; quoting, spacing and line ends of the files do not matter."""
        text = json.dumps(self.as_json(), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


def read_folder(folder: Path, faults: Faults) -> Content:
    """Read every file of a catalogue. A file that can't be read is noted and treated as empty."""
    tables = {file: read_table(folder, file, faults) for file in TABLE_COLUMNS}
    texts, lines = read_texts(folder, faults)
    for path in sorted(folder.glob("*.csv")):
        if path.name not in TABLE_COLUMNS:
            faults.note_fault("unknown_file", "is no table of the catalogue", path.name)
    return Content(tables, texts, lines)


def from_json(stored: Mapping[str, Any], faults: Faults) -> Content:
    """Return the content of a stored release; the first row has line 2, as in its file."""
    rows = {**stored, "findings.csv": [with_columns(cells) for cells in stored.get("findings.csv", [])]}
    tables = {
        file: [TableRow(file, n, cells, faults) for n, cells in enumerate(rows.get(file, []), start=2)]
        for file in TABLE_COLUMNS
    }
    return Content(tables, stored.get(TEXTS, {}), {})
