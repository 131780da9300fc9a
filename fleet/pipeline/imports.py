"""Importing a sheet in two steps: compare and report, then save all or nothing. A worker does large sheets."""

import logging
from collections.abc import Callable
from contextlib import nullcontext
from datetime import datetime
from uuid import UUID

from django.db import OperationalError, transaction
from django.db.models import F

from fleet.accounts.models import User
from fleet.catalog import queries as catalog
from fleet.errors import Refused
from fleet.pipeline.register import lock_and_plan, refuse_fixed, save_plan
from fleet.pipeline.separate_connection import open_separate_connection
from fleet.portfolio.models import Import, Portfolio
from fleet.records.events import Cause
from fleet.sheets import files, imports
from fleet.sheets.apply_sheet import count_new_rows
from fleet.sheets.import_plan import ImportPlan
from fleet.sheets.imports import (
    BUSY_STATUSES,
    FAILED,
    FAULTY,
    MAX_TRIES,
    OPEN_STATUSES,
    READING,
    READY,
    SAVED,
    SAVING,
    WITHDRAWN,
)
from fleet.sheets.plan import plan_import
from fleet.sheets.register_sheet import SheetRow, rows_of
from fleet.sheets.register_snapshot import RegisterSnapshot
from fleet.sheets.table import MAX_BYTES, SheetTable, pack_table, unpack_table
from fleet.visits.planned_gaps import gap_lines
from fleet.wake import wake_task

log = logging.getLogger(__name__)
IMPORT_TASK = "fleet.tasks.imports"
MAX_BYTES_AT_ONCE = 100_000  # bytes of CSV compared while the sender waits: about half a second
MAX_PACKED_BYTES_AT_ONCE = 15_000
MAX_ROWS_SAVED_AT_ONCE = 300  # rows


def _skip_write(write: Callable[[], object]) -> None:
    """Write no progress: nobody sees it while the sender waits."""


def receive_import(*, portfolio: Portfolio, content: bytes, name: str, by: User, at: datetime) -> Import:
    """Receive a file. A small one is compared at once, a large one by a worker.

    Nothing is saved before the import is confirmed. Raises Refused: 413 for a file over `MAX_BYTES`, 422 for an empty
    one.
    """
    if len(content) > MAX_BYTES:
        raise Refused("too_large", f"A file can be at most {MAX_BYTES >> 20} MiB.", status=413)
    if not content:
        raise Refused("required", "The file is empty.", ("file",), status=422)
    row = imports.receive_file(
        portfolio=portfolio, content=content, name=name, at=at, who=by.get_username(), who_id=by.id
    )
    if len(content) <= (MAX_PACKED_BYTES_AT_ONCE if content.startswith(files.ZIP_SIGNATURE) else MAX_BYTES_AT_ONCE):
        _attempt_import(row.id, at, watched=False)
    else:
        wake_task(IMPORT_TASK)
    row.refresh_from_db()
    return row


def confirm_import(*, import_row: Import, version: int, by: User, at: datetime, cause: Cause) -> Import:
    """Save the import. Raises Refused: 409 where it waits for no confirmation, 412 for another report's version."""
    values = {"confirmed_by": by.get_username(), "request_id": cause.request_id, "done": 0, "total": 0, "tries": 0}
    if not imports.swap_status(import_row.id, among=(READY,), version=version, to=SAVING, **values, told=""):
        raise _not_now_error(import_row, version, READY)
    if import_row.report.get("rows", 0) <= MAX_ROWS_SAVED_AT_ONCE:
        _attempt_import(import_row.id, at, watched=False)
    else:
        wake_task(IMPORT_TASK)
    import_row.refresh_from_db()
    return import_row


def withdraw_import(*, import_row: Import, version: int, at: datetime) -> Import:
    """End the import unsaved. Raises Refused: 409 once it is being saved, 412 for another report's version."""
    if not imports.swap_status(import_row.id, among=OPEN_STATUSES, version=version, to=WITHDRAWN, finished_at=at):
        raise _not_now_error(import_row, version, *OPEN_STATUSES)
    import_row.refresh_from_db()
    return import_row


def _not_now_error(import_row: Import, version: int, *among: str) -> Refused:
    import_row.refresh_from_db()
    if import_row.status in among and import_row.version != version:
        return Refused("stale", "The report has changed in the meantime. Check it again, then decide.", status=412)
    return Refused("not_now", f"This import is {import_row.status}.", status=409)


def work_on_imports(*, at: datetime) -> int:
    """Process the imports that wait for a worker, also those a dead worker left behind; return how many."""
    imports.purge_imports(at)
    waiting = list(Import.objects.filter(status__in=BUSY_STATUSES).order_by("received_at").values_list("id", flat=True))
    return sum(_attempt_import(import_id, at, watched=True) for import_id in waiting)


def _attempt_import(import_id: UUID, at: datetime, *, watched: bool) -> bool:
    """Try one import once, in one transaction; return false where another worker holds its lock."""
    try:
        with transaction.atomic():
            if not imports.try_lock(import_id):
                return False
            row = Import.objects.filter(id=import_id, status__in=BUSY_STATUSES).select_related("portfolio").first()
            if row is not None:
                _ImportAttempt(row, at, watched).compare_or_save()
    except OperationalError:
        log.warning("import %s met a lock: the next run tries again", import_id)
    except Exception:
        log.exception("import %s failed", import_id)
        message = "Something failed and nothing was saved. It is in the log under this import's id."
        imports.swap_status(import_id, among=BUSY_STATUSES, version=None, to=FAILED, told=message, finished_at=at)
    return True


class _ImportAttempt:
    """One attempt at one import whose lock is held."""

    def __init__(self, row: Import, at: datetime, watched: bool) -> None:
        self.row, self.at, self.portfolio, self.watched = row, at, row.portfolio, watched
        self.table: SheetTable | None = None

    def compare_or_save(self) -> None:
        """Compare or save the import. After `MAX_TRIES` attempts it has failed."""
        if self.row.tries >= MAX_TRIES:
            message = f"It was started {MAX_TRIES} times and never finished. Nothing was saved."
            imports.move_to_status(self.row, FAILED, told=message, finished_at=self.at)
            return
        if self.row.status == SAVING and not imports.try_lock(self.portfolio.id):
            return  # another import of this portfolio is being saved: this one waits, and it counts as no try
        with open_separate_connection() if self.watched else nullcontext(_skip_write) as run:
            self.run_separately = run
            self._update_row(tries=F("tries") + 1)
            try:
                (self._compare_rows if self.row.status == READING else self._save_rows)()
            except Refused as refused:
                self._report_faults(refused)

    def _update_row(self, **values: object) -> None:
        """Change columns of the import on the separate connection, so that others see it at once."""
        self.run_separately(lambda: Import.objects.filter(id=self.row.id).update(**values))

    def report_done(self, done: int) -> None:
        """Store how many rows are done."""
        self._update_row(done=done)

    def report_total(self, total: int) -> None:
        """Store how many rows there are to do, and start again at 0."""
        self._update_row(total=total, done=0)

    def _read_rows(self) -> list[SheetRow]:
        # The release in force now says which columns and codes there are.
        release = catalog.catalogue_at(self.at)
        packed_table = self.row.table
        self.table = (
            unpack_table(bytes(packed_table)) if packed_table else files.read_table(bytes(self.row.content), release)
        )
        rows = rows_of(self.table, release)
        self.report_total(len(rows))
        return rows

    def _compare_rows(self) -> None:
        rows = self._read_rows()
        register = RegisterSnapshot.for_sheet(self.portfolio, rows, self.at)
        refuse_fixed(self.portfolio, register, rows, self.at)
        plan = plan_import(portfolio=self.portfolio, register=register, rows=rows, at=self.at, step=self.report_done)
        self._report_plan(plan, rows, "")

    def _report_plan(self, plan: ImportPlan, rows: list[SheetRow], message: str) -> None:
        gaps = list(gap_lines(plan, rows, catalog.catalogue_at(self.at)))
        outcome = imports.outcome_of(plan, rows, self.table.notes if self.table else (), gaps)
        imports.store_outcome(self.row, outcome)
        table_values = {"table": pack_table(self.table), "content": b""} if self.table and not self.row.table else {}
        imports.move_to_status(
            self.row, READY, report=outcome.report, digest=outcome.digest, told=message, tries=0, **table_values
        )

    def _save_rows(self) -> None:
        """Compare again under the locks, and save only what the report said."""
        rows = self._read_rows()
        plan = lock_and_plan(portfolio=self.portfolio, rows=rows, at=self.at, step=self.report_done)
        if imports.plan_digest(plan) != self.row.digest:
            self._report_plan(plan, rows, "The register changed since the report was made. This is the new report.")
            return
        self.report_total(count_new_rows(plan))
        plan.add_event(
            "register.imported", self.row.id, boiler=None, moved=("", ""), sentence=f"Imported {self.row.name}."
        )
        if len(plan.events) == 1:
            plan.events.clear()  # nothing was new
        cause = Cause(who=self.row.confirmed_by, request_id=self.row.request_id)
        save_plan(plan, at=self.at, cause=cause, step=self.report_done)
        imports.move_to_status(self.row, SAVED, finished_at=self.at)

    def _report_faults(self, refused: Refused) -> None:
        report = imports.faulty_report(refused, self.table.header if self.table else ())
        again = "The register changed since the report was made." if self.row.status == SAVING else ""
        imports.move_to_status(self.row, FAULTY, report={"rows": 0, **report}, told=again)
