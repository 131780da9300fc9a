"""Importing a sheet in two steps: compare and report, then save all or nothing. A worker does large sheets."""

import logging
from collections.abc import Callable
from contextlib import nullcontext
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db import OperationalError, transaction
from django.db.models import F

from fleet.accounts.models import User
from fleet.catalog import queries as catalog
from fleet.errors import Refused
from fleet.pipeline.beside import beside
from fleet.pipeline.register import locked_plan, refuse_fixed, save
from fleet.portfolio import files, imports
from fleet.portfolio.imports import BUSY, FAILED, FAULTY, MOST_TRIES, OPEN, READING, READY, SAVED, SAVING, WITHDRAWN
from fleet.portfolio.known import Known
from fleet.portfolio.models import Import, Portfolio
from fleet.portfolio.news import Cause
from fleet.portfolio.plan import Plan, plan
from fleet.portfolio.services import to_write
from fleet.portfolio.sheet import SheetRow, rows_of
from fleet.portfolio.table import MOST_BYTES, Table, packed, unpacked
from fleet.wake import wake

log = logging.getLogger(__name__)
TASK = "fleet.tasks.imports"
AT_ONCE = 100_000  # bytes of CSV compared while the sender waits: about half a second
AT_ONCE_PACKED = 15_000
SAVED_AT_ONCE = 300  # rows


def _unseen(write: Callable[[], Any]) -> None:
    """Write no progress: nobody sees it while the sender waits."""


def receive_import(*, portfolio: Portfolio, content: bytes, name: str, by: User, at: datetime) -> Import:
    """Receive a file. A small one is compared at once, a large one by a worker.

    Nothing is saved before the import is confirmed. Raises Refused: 413 for a file over `MAX_BYTES`, 422 for an empty
    one.
    """
    if len(content) > MOST_BYTES:
        raise Refused("too_large", f"A file is at most {MOST_BYTES >> 20} MiB.", status=413)
    if not content:
        raise Refused("required", "The file is empty.", ("file",), status=422)
    who = {"who": by.get_username(), "who_id": by.id}
    row = imports.receive(portfolio=portfolio, content=content, name=name, at=at, **who)
    if len(content) <= (AT_ONCE_PACKED if content.startswith(files.PACKED) else AT_ONCE):
        _attempt(row.id, at, watched=False)
    else:
        wake(TASK)
    row.refresh_from_db()
    return row


def confirm_import(*, of: Import, version: int, by: User, at: datetime, cause: Cause) -> Import:
    """Save the import. Raises Refused: 409 where it waits for no confirmation, 412 for another report's version."""
    values = {"confirmed_by": by.get_username(), "request_id": cause.request_id, "done": 0, "total": 0, "tries": 0}
    if not imports.taken(of.id, among=(READY,), version=version, to=SAVING, **values, told=""):
        raise _not_now(of, version, READY)
    if of.report.get("rows", 0) <= SAVED_AT_ONCE:
        _attempt(of.id, at, watched=False)
    else:
        wake(TASK)
    of.refresh_from_db()
    return of


def withdraw_import(*, of: Import, version: int, at: datetime) -> Import:
    """End the import unsaved. Raises Refused: 409 once it is being saved, 412 for another report's version."""
    if not imports.taken(of.id, among=OPEN, version=version, to=WITHDRAWN, finished_at=at):
        raise _not_now(of, version, *OPEN)
    of.refresh_from_db()
    return of


def _not_now(of: Import, version: int, *among: str) -> Refused:
    of.refresh_from_db()
    if of.status in among and of.version != version:
        return Refused("stale", "The report is another one by now: look again, then decide.", status=412)
    return Refused("not_now", f"This import is {of.status}.", status=409)


def work_on_imports(*, at: datetime) -> int:
    """Process the imports that wait for a worker, also those a dead worker left behind; return how many."""
    imports.purge(at)
    waiting = list(Import.objects.filter(status__in=BUSY).order_by("received_at").values_list("id", flat=True))
    return sum(_attempt(one, at, watched=True) for one in waiting)


def _attempt(import_id: UUID, at: datetime, *, watched: bool) -> bool:
    """Try one import once, in one transaction; return false where another worker holds its lock."""
    try:
        with transaction.atomic():
            if not imports.claim(import_id):
                return False
            row = Import.objects.filter(id=import_id, status__in=BUSY).select_related("portfolio").first()
            if row is not None:
                _Try(row, at, watched).run()
    except OperationalError:
        log.warning("import %s met a lock: the next run tries again", import_id)
    except Exception:
        log.exception("import %s failed", import_id)
        told = "Something failed here; nothing of it was saved. It is in the log under this import's id."
        imports.taken(import_id, among=BUSY, version=None, to=FAILED, told=told, finished_at=at)
    return True


class _Try:
    """One attempt at one import whose lock is held."""

    def __init__(self, row: Import, at: datetime, watched: bool) -> None:
        self.row, self.at, self.portfolio, self.watched = row, at, row.portfolio, watched
        self.table: Table | None = None

    def run(self) -> None:
        """Compare or save the import. After `MAX_TRIES` attempts it has failed."""
        if self.row.tries >= MOST_TRIES:
            told = f"It was begun {MOST_TRIES} times and never came to an end; nothing of it was saved."
            imports.move(self.row, FAILED, told=told, finished_at=self.at)
            return
        if self.row.status == SAVING and not imports.claim(self.portfolio.id):
            return  # another import of this portfolio is being saved: this one waits, and it counts as no try
        with beside() if self.watched else nullcontext(_unseen) as run:
            self.run_beside = run
            self._note(tries=F("tries") + 1)
            try:
                (self._compare if self.row.status == READING else self._save)()
            except Refused as refused:
                self._faulty(refused)

    def _note(self, **values: Any) -> None:
        """Change columns of the import on the separate connection, so that others see it at once."""
        self.run_beside(lambda: Import.objects.filter(id=self.row.id).update(**values))

    def step(self, done: int) -> None:
        """Store how many rows are done."""
        self._note(done=done)

    def of(self, total: int) -> None:
        """Store how many rows there are to do, and start again at 0."""
        self._note(total=total, done=0)

    def _rows(self) -> list[SheetRow]:
        # The release in force now says which columns and codes there are.
        release = catalog.catalogue_of(catalog.current(self.at.astimezone(UTC).date()) or 1)
        kept = self.row.table
        self.table = unpacked(bytes(kept)) if kept else files.read(bytes(self.row.content), release)
        rows = rows_of(self.table, release)
        self.of(len(rows))
        return rows

    def _compare(self) -> None:
        rows = self._rows()
        known = Known.of(self.portfolio, rows, self.at)
        refuse_fixed(self.portfolio, known, rows, self.at)
        made = plan(portfolio=self.portfolio, known=known, rows=rows, at=self.at, step=self.step)
        self._tell(made, rows, "")

    def _tell(self, made: Plan, rows: list[SheetRow], told: str) -> None:
        found = imports.found(made, rows, self.table.notes if self.table else ())
        imports.keep(self.row, found)
        kept = {"table": packed(self.table), "content": b""} if self.table and not self.row.table else {}
        imports.move(self.row, READY, report=found.report, digest=found.digest, told=told, tries=0, **kept)

    def _save(self) -> None:
        """Compare again under the locks, and save only what the report said."""
        rows = self._rows()
        made = locked_plan(portfolio=self.portfolio, rows=rows, at=self.at, step=self.step)
        if imports.digest(made) != self.row.digest:
            self._tell(made, rows, "The register changed since the report was made: this is the new one.")
            return
        self.of(to_write(made))
        made.news_of("register.imported", self.row.id, None, ("", ""), f"Imported {self.row.name}.")
        if len(made.news) == 1:
            made.news.clear()  # nothing was new
        cause = Cause(who=self.row.confirmed_by, request_id=self.row.request_id)
        save(made, at=self.at, cause=cause, step=self.step)
        imports.move(self.row, SAVED, finished_at=self.at)

    def _faulty(self, refused: Refused) -> None:
        report = imports.faulty(refused, self.table.header if self.table else ())
        again = "The register changed since the report was made." if self.row.status == SAVING else ""
        imports.move(self.row, FAULTY, report={"rows": 0, **report}, told=again)
