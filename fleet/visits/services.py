"""Writing visits: rows are only added."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.accounts.models import User
from fleet.portfolio.models import Boiler, Device
from fleet.rules.values import Value
from fleet.rules.vocabulary import EntryAct
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Attendance, Entry, Reading, Visit

BATCH = 2000  # rows of one statement


def add(*, incoming: IncomingVisit, boiler: Boiler, posted_at: datetime, posted_by: User | None) -> Visit:
    """Write a checked visit with its people, devices, entries and readings."""
    return add_all([New(incoming, boiler, posted_at, posted_by)])[0]


@dataclass(frozen=True, slots=True)
class New:
    """A checked visit that is to be written, with its boiler, posting time and poster."""

    incoming: IncomingVisit
    boiler: Boiler
    posted_at: datetime
    posted_by: User | None


def add_all(news: Sequence[New]) -> list[Visit]:
    """Write checked visits with one statement per table (at most ROWS_PER_STATEMENT rows each)."""
    visits = [_visit(new) for new in news]
    Visit.objects.bulk_create(visits, batch_size=BATCH)
    Attendance.objects.bulk_create((row for n in news for row in _people(n.incoming, n.boiler)), batch_size=BATCH)
    devices = [row for n in news for row in _devices(n.incoming, n.boiler)]
    Device.objects.bulk_create(devices, ignore_conflicts=True, batch_size=BATCH)
    Entry.objects.bulk_create((row for n in news for row in _entries(n.incoming, n.boiler)), batch_size=BATCH)
    Reading.objects.bulk_create((row for n in news for row in _readings(n.incoming, n.boiler)), batch_size=BATCH)
    return visits


def _visit(new: New) -> Visit:
    incoming, boiler = new.incoming, new.boiler
    return Visit(
        id=incoming.id,
        boiler=boiler,
        kind=incoming.kind,
        performed_at=incoming.performed_at,
        posted_at=new.posted_at,
        posted_by=new.posted_by,
        call_for_heat=incoming.call_for_heat,
        state_on_arrival=incoming.state_on_arrival,
        left_as=incoming.left_as,
        leaving_checks=incoming.leaving_checks,
        note=incoming.note,
        corrects_id=incoming.corrects,
        reason=incoming.reason,
        void=incoming.void,
        digest=incoming.digest,
        portfolio_id=boiler.portfolio_id,
    )


def _people(incoming: IncomingVisit, boiler: Boiler) -> Iterator[Attendance]:
    for p in incoming.people:
        yield Attendance(visit_id=incoming.id, user_id=p.user, name=p.name, portfolio_id=boiler.portfolio_id)


def _devices(incoming: IncomingVisit, boiler: Boiler) -> list[Device]:
    """Return the devices fitted in this visit. One that a correction restates with its id exists already."""
    return [
        Device(id=incoming.device_id(n), portfolio_id=boiler.portfolio_id, kind_id=e.kind, attributes=dict(e.values))
        for n, e in enumerate(incoming.entries)
        if e.kind
    ]


def _entries(incoming: IncomingVisit, boiler: Boiler) -> Iterator[Entry]:
    for number, entry in enumerate(incoming.entries):
        yield Entry(
            id=incoming.entry_id(number),
            portfolio_id=boiler.portfolio_id,
            visit_id=incoming.id,
            number=number,
            act=entry.act,
            code=entry.code,
            procedure_id=entry.code if entry.act == EntryAct.TEST else None,
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
