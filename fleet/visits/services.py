"""Writing visits: rows are only added."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.portfolio.models import Boiler, Device
from fleet.records.difference_store import as_json
from fleet.rules.values import Value
from fleet.rules.vocabulary import EntryAct, OperatorRelay
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Attendance, Entry, PaperOfOthers, Photograph, Reading, Visit

ROWS_PER_STATEMENT = 2000  # rows of one statement


def add_visit(
    *,
    incoming: IncomingVisit,
    boiler: Boiler,
    posted_at: datetime,
    posted_by: User | None,
    is_under_pin: bool = False,
) -> Visit:
    """Write a checked visit with its people, devices, entries and readings."""
    return add_visits([NewVisit(incoming, boiler, posted_at, posted_by, is_under_pin=is_under_pin)])[0]


@dataclass(frozen=True, slots=True)
class NewVisit:
    """A checked visit that is to be written, with its boiler, posting time and poster."""

    incoming: IncomingVisit
    boiler: Boiler
    posted_at: datetime
    posted_by: User | None
    is_under_pin: bool = False  # a card's, under the own PIN of the one operator whom it names


def add_visits(new_visits: Sequence[NewVisit]) -> list[Visit]:
    """Write checked visits with one statement per table (at most ROWS_PER_STATEMENT rows each)."""
    visits = [_visit_row(new) for new in new_visits]
    Visit.objects.bulk_create(visits, batch_size=ROWS_PER_STATEMENT)
    papers = [_paper_row(n.incoming, n.boiler) for n in new_visits if n.incoming.paper]
    if papers:  # few visits have one
        PaperOfOthers.objects.bulk_create(papers, batch_size=ROWS_PER_STATEMENT)
    Attendance.objects.bulk_create(
        (row for n in new_visits for row in _attendance_rows(n.incoming, n.boiler)), batch_size=ROWS_PER_STATEMENT
    )
    devices = [row for n in new_visits for row in _device_rows(n.incoming, n.boiler)]
    Device.objects.bulk_create(devices, ignore_conflicts=True, batch_size=ROWS_PER_STATEMENT)
    Entry.objects.bulk_create(
        (row for n in new_visits for row in _entry_rows(n.incoming, n.boiler)), batch_size=ROWS_PER_STATEMENT
    )
    Reading.objects.bulk_create(
        (row for n in new_visits for row in _reading_rows(n.incoming, n.boiler)), batch_size=ROWS_PER_STATEMENT
    )
    photographs = [row for n in new_visits for row in _photograph_rows(n.incoming, n.boiler)]
    if photographs:  # few visits have any
        Photograph.objects.bulk_create(photographs, batch_size=ROWS_PER_STATEMENT)
    return visits


def _visit_row(new: NewVisit) -> Visit:
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
        register_answers=[as_json(answer) for answer in incoming.register_answers],
        names_need_second=True,
        operator_relay=_operator_relay(new),
        digest=incoming.digest,
        portfolio_id=boiler.portfolio_id,
    )


def _operator_relay(new: NewVisit) -> OperatorRelay:
    """Return whether somebody of the desk posts it; asked only where it names anybody beside its poster."""
    poster, boiler = new.posted_by, new.boiler
    if new.is_under_pin:
        return OperatorRelay.PIN
    if poster is None or all(person.user in (None, poster.id) for person in new.incoming.people):
        return OperatorRelay.NOBODY
    is_desk = policy.is_of_desk(poster.id, boiler.portfolio_id, boiler.building_id, new.posted_at)
    return OperatorRelay.DESK if is_desk else OperatorRelay.NOBODY


def _paper_row(incoming: IncomingVisit, boiler: Boiler) -> PaperOfOthers:
    paper = incoming.paper
    assert paper is not None
    return PaperOfOthers(
        id=incoming.id,
        portfolio_id=boiler.portfolio_id,
        visit_id=incoming.id,
        body=paper.body,
        name=paper.name,
        number=paper.number,
        dated_on=paper.dated_on,
        file_name=paper.file.name,
        file_sha256=paper.file.sha256,
        file_size=paper.file.size,
        file_type=paper.file.type,
    )


def _attendance_rows(incoming: IncomingVisit, boiler: Boiler) -> Iterator[Attendance]:
    for p in incoming.people:
        yield Attendance(visit_id=incoming.id, user_id=p.user, name=p.name, portfolio_id=boiler.portfolio_id)


def _device_rows(incoming: IncomingVisit, boiler: Boiler) -> list[Device]:
    """Return the devices fitted in this visit. One that a correction restates with its id exists already."""
    return [
        Device(id=incoming.device_id(n), portfolio_id=boiler.portfolio_id, kind_id=e.kind, attributes=dict(e.values))
        for n, e in enumerate(incoming.entries)
        if e.kind
    ]


def _entry_rows(incoming: IncomingVisit, boiler: Boiler) -> Iterator[Entry]:
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


def _reading_rows(incoming: IncomingVisit, boiler: Boiler) -> Iterator[Reading]:
    for number, entry in enumerate(incoming.entries):
        for name, value in entry.readings.items():
            if value is not None:
                row = Reading(portfolio_id=boiler.portfolio_id, entry_id=incoming.entry_id(number), name=name)
                yield _with_value(row, value)


def _photograph_rows(incoming: IncomingVisit, boiler: Boiler) -> Iterator[Photograph]:
    for number, photograph in enumerate(incoming.photographs):
        yield Photograph(
            portfolio_id=boiler.portfolio_id,
            visit_id=incoming.id,
            number=number,
            entry_id=None if photograph.entry is None else incoming.entry_id(photograph.entry),
            sha256=photograph.sha256,
            size=photograph.size,
            type=photograph.type,
        )


def _with_value(row: Reading, value: Value) -> Reading:
    if isinstance(value, bool):
        row.flag = value
    elif isinstance(value, (int, float)):
        row.number = float(value)
    else:
        row.word = str(value)
    return row
