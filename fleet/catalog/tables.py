"""The CSV tables, their columns, and reading one with the line of each row."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path

from fleet.catalog.rows import Faults, TableRow

SOURCES_FILE = "sources.csv"
TABLE_COLUMNS = {
    "hazards.csv": "code,name,stops_firing,source",
    "kinds.csv": "code,name,attributes,life_years,life_source,source",
    "roles.csv": "code,name,part,hazard,order,last_line,kinds,source",
    "needed_roles.csv": "code,name,roles,kinds,when,none_allowed,exposes,carries,values,source",
    "procedures.csv": (
        "code,name,side,kinds,proof,interval,anchor,grace_days,who,covers,judged_by,fails_as,minutes,people,voids,tools,"
        "parts,source,interval_source"
    ),
    "variants.csv": "procedure,variant,interval,anchor,grace_days,due_only,source",
    "readings.csv": "procedure,name,type,unit,low,high,choices,required,accept,rule,else,finding,source",
    "touches.csv": "kind,touch,needs,source",
    "findings.csv": (
        "code,level,fails,title,clears_by,needs_cause,needs_manager,needs_work,closes_by_readings,tested_in_place,"
        "closes_unneeded,recurs,blinds_gauge,joins,source"
    ),
    "actions.csv": "code,name,touch,repairs,source",
    "observations.csv": "code,name,finding,roles,source",
    "contradictions.csv": "first,second,window_minutes,same_place,sentence,tested_by,source",
    SOURCES_FILE: "number,title,publisher,dated,scope,seen",
}


def read_table(folder: Path, file: str, faults: Faults) -> list[TableRow]:
    """Read one table. A missing file or a wrong header is noted as a fault and gives no rows."""
    try:
        text = (folder / file).read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        faults.note_fault("missing_file", "is missing", file)
        return []
    except UnicodeDecodeError:
        faults.note_fault("bad_file", "is not UTF-8 text", file)
        return []
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    before = len(faults.noted_faults)
    try:
        rows = list(_read_rows(file, lines, faults))
    except csv.Error as error:
        faults.note_fault("bad_file", f"can't be read as a table: {error}", file, lines.line_num)
        return []
    if not rows and len(faults.noted_faults) == before:
        faults.note_fault("empty_table", "has no rows", file)
    return rows


def _read_rows(file: str, lines: Iterator[list[str]], faults: Faults) -> Iterator[TableRow]:
    head, expected_columns = next(lines, []), TABLE_COLUMNS[file].split(",")
    if not _head_is_right(file, head, expected_columns, faults):
        return
    for line, cells in _numbered_rows(lines):
        if len(cells) != len(head):
            faults.note_fault("bad_row", f"has {len(cells)} cells where the head has {len(head)}", file, line)
        elif cells:
            row = TableRow(file, line, dict(zip(head, (c.strip() for c in cells), strict=True)), faults)
            if "source" in expected_columns:
                row.text_of("source")
            yield row


def _numbered_rows(lines: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    # The CSV reader counts lines, since a quoted cell may hold line ends. Blank lines are no rows.
    for cells in lines:
        if cells:
            yield getattr(lines, "line_num", 0), cells


def _head_is_right(file: str, head: list[str], expected_columns: list[str], faults: Faults) -> bool:
    for column in head:
        if column not in expected_columns:
            faults.note_fault("unknown_column", f"unknown column {column!r}", file=file, line=1, column=column)
    for column in expected_columns:
        if head.count(column) != 1:
            faults.note_fault(
                "missing_column", f"column {column!r} must stand there once", file=file, line=1, column=column
            )
    return sorted(head) == sorted(expected_columns)
