"""Imports of sheets: their status, the report of what each row would do, and when they are removed."""

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import F

from fleet.errors import Fault, Refused
from fleet.portfolio.models import Boiler, Import, ImportPage, Portfolio
from fleet.sheets.import_plan import ImportPlan, PlanLine
from fleet.sheets.register_sheet import SheetRow
from fleet.sheets.register_snapshot import RegisterSnapshot
from fleet.sheets.table import column_letter

READING, READY, FAULTY, SAVING = "reading", "ready", "faulty", "saving"
SAVED, FAILED, WITHDRAWN = "saved", "failed", "withdrawn"
BUSY_STATUSES = (READING, SAVING)
OPEN_STATUSES = (READING, READY, FAULTY)
RETENTION = timedelta(days=14)
MAX_TRIES = 3
LINES_PER_PAGE = 200
_LETTER = re.compile("[A-Z]{1,3}")
REPORT_PARTS = ("changes", "not_on_record", "missing", "same")


@dataclass(frozen=True, slots=True)
class ImportOutcome:
    """What an import would do: its totals, its lines by part, and the digest of the lines that change something."""

    report: dict[str, object]
    parts: dict[str, list[dict[str, object]]]
    digest: str


def receive_file(*, portfolio: Portfolio, content: bytes, name: str, who: str, who_id: UUID, at: datetime) -> Import:
    """Store a received file that is to be compared."""
    return Import.objects.create(
        portfolio=portfolio,
        who=who,
        who_id=who_id,
        name=_safe_name(name),
        sha256=hashlib.sha256(content).hexdigest(),
        content=content,
        status=READING,
        received_at=at,
        ends_at=at + RETENTION,
    )


def _safe_name(name: str) -> str:
    """Return a file's name without folders and control characters."""
    last = name.replace("\\", "/").rpartition("/")[2]
    return "".join(c for c in last if c.isprintable())[:200] or "register"


def try_lock(key: UUID) -> bool:
    """Take an advisory lock until the transaction ends; return false where another worker holds it.

    The database drops the lock when the worker dies.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [key.int >> 65])
        return bool(cursor.fetchone()[0])


def move_to_status(row: Import, to: str, **values: object) -> None:
    """Set an import's status and give it its next version: what somebody looked at before is stale."""
    Import.objects.filter(id=row.id).update(status=to, version=F("version") + 1, **values)


def swap_status(import_id: UUID, *, among: tuple[str, ...], version: int | None, to: str, **values: object) -> bool:
    """Set the status if it is one of `among`, at this version (None: any); return whether it was set."""
    rows = Import.objects.filter(id=import_id, status__in=among)
    if version is not None:
        rows = rows.filter(version=version)
    return bool(rows.update(status=to, version=F("version") + 1, **values))


def purge_imports(at: datetime) -> int:
    """Remove imports whose retention is over; return how many rows. Imports being read or saved stay."""
    old = Import.objects.filter(ends_at__lte=at).exclude(status__in=BUSY_STATUSES)
    ImportPage.objects.filter(of__in=old).delete()
    return old.delete()[0]


def outcome_of(
    plan: ImportPlan, rows: Sequence[SheetRow], notes: Sequence[str], gap_lines: Sequence[dict[str, Any]]
) -> ImportOutcome:
    """Return what a plan does, for the report. `gap_lines` say what the registers will leave out even then."""
    lines = [_line_json(line) for line in plan.lines]
    changes = [line for line in lines if line["does"]]
    parts = {
        "changes": changes,
        "not_on_record": list(gap_lines),
        "missing": list(missing_lines(plan.register, rows, plan.portfolio)),
        "same": [line for line in lines if not line["does"]],
    }
    report = {
        "rows": len(rows),
        "added": plan.added,
        "renamed": sum(len(fields) for subjects in plan.edited.values() for fields in subjects.values()),
        "notes": list(notes),
        "faults": [],
        **{part: len(listed) for part, listed in parts.items()},
    }
    return ImportOutcome(report, parts, plan_digest(plan))


def plan_digest(plan: ImportPlan) -> str:
    """Return a SHA-256 that is equal for two plans that do the same to the same rows."""
    hasher = hashlib.sha256()
    for line in plan.lines:
        if line.does:
            hasher.update(json.dumps([line.row, line.does]).encode())
    return hasher.hexdigest()


def _line_json(line: PlanLine) -> dict[str, object]:
    fields = {"row": line.row, "building": line.building, "boiler": line.boiler, "position": line.position}
    return {
        **fields,
        "does": [{"what": what, "sentence": sentence} for what, sentence in line.does],
        "notes": line.notes,
    }


def faulty_report(refused: Refused, columns: Sequence[str]) -> dict[str, object]:
    """Return the report of a file with faults, each with its row and its column by letter and name."""
    return {"faults": [_fault_json(f, columns) for f in refused.faults]}


def _fault_json(fault: Fault, columns: Sequence[str]) -> dict[str, object]:
    """Return a fault with its column by name, by letter, or by both where the file has the column."""
    row, place = (*fault.at, None, None)[:2]
    column = "" if place is None else str(place)
    at = (
        column_letter(list(columns).index(column)) if column in columns else column if _LETTER.fullmatch(column) else ""
    )
    column_name = "" if at == column else column
    return {"code": fault.code, "message": fault.message, "row": row, "column": column_name, "letter": at}


def missing_lines(
    register: RegisterSnapshot, rows: Sequence[SheetRow], portfolio: Portfolio
) -> Iterator[dict[str, object]]:
    """Yield a line for what the register has and the sheet does not name. It is reported and never deleted."""
    named_refs = {row.building_ref for row in rows}
    boilers, places = {row.boiler_key for row in rows}, {row.key for row in rows}
    other_boilers = Boiler.objects.filter(portfolio=portfolio).exclude(building__ref__in=named_refs)
    listed = other_boilers.order_by("building__ref", "ref").values_list(
        "building__ref", "ref", "building__address", "name"
    )
    for building, boiler, address, name in listed:
        yield _missing_line(building, boiler, "", f"{name} of {address}")
    for key, boiler_row in sorted(register.boilers.items()):
        if key not in boilers and key[0] in named_refs:
            building, boiler = key
            yield _missing_line(building, boiler, "", boiler_row.name)
    for key, place in sorted(register.positions.items()):
        if key[:2] in boilers and key not in places:
            building, boiler, position = key
            yield _missing_line(building, boiler, position, place.name)


def _missing_line(building: str, boiler: str, position: str, name: str) -> dict[str, object]:
    sentence = f"{name} is not in the file: it stays as it is."
    fields: dict[str, Any] = {"row": None, "building": building, "boiler": boiler, "position": position, "notes": []}
    return {**fields, "does": [{"what": "missing", "sentence": sentence}]}


def store_outcome(row: Import, outcome: ImportOutcome) -> None:
    """Replace the stored pages of the report."""
    ImportPage.objects.filter(of=row).delete()
    ImportPage.objects.bulk_create(
        ImportPage(portfolio_id=row.portfolio_id, of=row, part=part, number=number, lines=batch)
        for part, lines in outcome.parts.items()
        for number, batch in enumerate(_split_pages(lines))
    )


def _split_pages(lines: Iterable[object]) -> Iterator[list[object]]:
    listed = iter(lines)
    while batch := list(islice(listed, LINES_PER_PAGE)):
        yield batch


def page_lines(import_id: UUID, part: str, number: int) -> list[dict[str, Any]]:
    """Return the lines of one page of the report; an empty list beyond its end."""
    row = ImportPage.objects.filter(of=import_id, part=part, number=number).first()
    return list(row.lines) if row else []
