"""Writing a visit: rows are only ever added."""

from collections.abc import Iterator
from datetime import datetime

from fleet.accounts.models import User
from fleet.portfolio.models import Boiler, Device
from fleet.rules.values import Value
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Attendance, Entry, Reading, Visit


def add(*, incoming: IncomingVisit, boiler: Boiler, posted_at: datetime, posted_by: User | None) -> Visit:
    """Write a checked visit with its people, devices, entries and readings."""
    common = {"portfolio_id": boiler.portfolio_id}
    visit = Visit.objects.create(
        id=incoming.id,
        boiler=boiler,
        kind=incoming.kind,
        performed_at=incoming.performed_at,
        posted_at=posted_at,
        posted_by=posted_by,
        call_for_heat=incoming.call_for_heat,
        state_on_arrival=incoming.state_on_arrival,
        left_as=incoming.left_as,
        leaving_checks=incoming.leaving_checks,
        note=incoming.note,
        corrects_id=incoming.corrects,
        reason=incoming.reason,
        void=incoming.void,
        digest=incoming.digest,
        **common,
    )
    people = (Attendance(visit=visit, user_id=p.user, name=p.name, **common) for p in incoming.people)
    Attendance.objects.bulk_create(people)
    _devices(incoming, boiler)
    Entry.objects.bulk_create(_entries(incoming, boiler))
    Reading.objects.bulk_create(_readings(incoming, boiler))
    return visit


def _devices(incoming: IncomingVisit, boiler: Boiler) -> None:
    """Devices fitted in this visit; a correction that restates the same `ref` and id meets its own row again."""
    made = [
        Device(id=incoming.device_id(n), portfolio_id=boiler.portfolio_id, kind_id=e.kind, attributes=dict(e.values))
        for n, e in enumerate(incoming.entries)
        if e.kind
    ]
    Device.objects.bulk_create(made, ignore_conflicts=True)


def _entries(incoming: IncomingVisit, boiler: Boiler) -> Iterator[Entry]:
    for number, entry in enumerate(incoming.entries):
        yield Entry(
            id=incoming.entry_id(number),
            portfolio_id=boiler.portfolio_id,
            visit_id=incoming.id,
            number=number,
            act=entry.act,
            code=entry.code,
            procedure_id=entry.code if entry.act == "test" else None,
            position_id=entry.position,
            device_id=incoming.device_id(number),
            performed_at=entry.at,
            phase=entry.phase,
            outcome=entry.outcome,
            why=entry.why,
            reason=entry.reason,
            values=dict(entry.values),
        )


def _readings(incoming: IncomingVisit, boiler: Boiler) -> Iterator[Reading]:
    for number, entry in enumerate(incoming.entries):
        for name, value in entry.readings.items():
            if value is not None:
                row = Reading(portfolio_id=boiler.portfolio_id, entry_id=incoming.entry_id(number), name=name)
                yield _with_value(row, value)


def _with_value(row: Reading, value: Value) -> Reading:
    if isinstance(value, bool):
        row.flag = value
    elif isinstance(value, (int, float)):
        row.number = float(value)
    else:
        row.word = str(value)
    return row
