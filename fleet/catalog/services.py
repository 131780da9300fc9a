"""Loading a catalogue as a new release, unless its content is that of the newest one."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from django.db import connection, transaction

from fleet.catalog.content import Content
from fleet.catalog.models import Code, Kind, Procedure, Release, Role
from fleet.catalog.parse import read_release
from fleet.catalog.rows import Faults

CODE_MODELS: dict[str, type[Code]] = {"kinds.csv": Kind, "roles.csv": Role, "procedures.csv": Procedure}

# No time zone is further ahead of UTC.
FURTHEST_AHEAD = timedelta(hours=14)


@transaction.atomic
def load_release(*, folder: Path, at: datetime) -> Release:
    """Load a folder as the next release; the newest content again writes nothing. Raises Refused with all faults."""
    _lock_releases()
    newest = Release.objects.order_by("-number").first()
    number = newest.number + 1 if newest else 1
    content, _ = read_release(folder, number)
    digest = content.content_digest()
    if newest and newest.digest == digest:
        return newest
    _refuse_reused(content)
    _keep_codes(content)
    starts_on = first_day_of_a_later_release(at) if newest else None
    stored = content.as_json()
    return Release.objects.create(number=number, starts_on=starts_on, digest=digest, content=stored, loaded_at=at)


def first_day_of_a_later_release(at: datetime) -> date:
    """Return the day after the latest local day anywhere: its midnight lies ahead in every zone."""
    return (at.astimezone(UTC) + FURTHEST_AHEAD).date() + timedelta(days=1)


def _lock_releases() -> None:
    """Allow one loader at a time: two would give their releases the same number. Readers are not blocked.

    An advisory lock, which ends with the transaction: to lock the table one must be allowed to change its rows.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [Release._meta.db_table])


def _refuse_reused(content: Content) -> None:
    faults = Faults()
    for file, model in CODE_MODELS.items():
        retired = set(model._default_manager.filter(retired=True).values_list("code", flat=True))
        for row in content.tables[file]:
            if row.cells["code"] in retired:
                message = f"code {row.cells['code']!r} was retired: a code is never used again"
                faults.note_fault("reused", message, file=file, line=row.line, column="code")
    faults.refuse_if_any()


def _keep_codes(content: Content) -> None:
    for file, model in CODE_MODELS.items():
        rows = [model(code=row.cells["code"], name=row.cells["name"]) for row in content.tables[file]]
        codes = model._default_manager
        codes.bulk_create(rows, update_conflicts=True, unique_fields=["code"], update_fields=["name"])
        codes.exclude(code__in=[r.code for r in rows]).update(retired=True)
