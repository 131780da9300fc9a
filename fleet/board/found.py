"""What was found failed when somebody tested it, by kind of device, by present knowledge."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from datetime import date, datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.assessments.models import Verdict
from fleet.board.days import local_day, near
from fleet.portfolio.models import Boiler, Fitting
from fleet.visits.models import Entry

Moment = tuple[datetime, UUID, int]
REGISTER = (UUID(int=0), 0)  # the register's word on an instant comes before what was done at it
WORK = ("action", "replace", "fit", "remove", "set")


def found_failed_by_kind(boilers: QuerySet[Boiler], first: date, last: date) -> dict[str, int]:
    """How often a device of each kind failed its test as found on one of these local days, the most first: 3 queries.

    As found: said so, or nothing said and nothing done to the position before it in the visit. A position counts once
    a visit; the kind is that of the device which then filled it.
    """
    failed = list(_failed(boilers, first, last))
    positions = {e.position_id for e in failed if e.position_id}
    work = list(_work(positions))
    fitted = _fitted(positions, work)
    touched = {(w.visit_id, w.position_id): w.number for w in reversed(work)}
    kinds: dict[tuple[UUID, UUID | None], str] = {}
    for entry in failed:
        before = entry.number < touched.get((entry.visit_id, entry.position_id), entry.number + 1)
        if entry.phase == "as_found" or (not entry.phase and before):
            kinds[entry.visit_id, entry.position_id] = _kind(fitted.get(entry.position_id, []), _moment(entry))
    return dict(Counter(k for k in kinds.values() if k).most_common())


def _failed(boilers: QuerySet[Boiler], first: date, last: date) -> Iterable[Entry]:
    """Verdicts are conclusions: what a correction took back has none."""
    verdicts = Verdict.objects.filter(
        near("entry__performed_at", first, last), boiler__in=boilers, outcome="fail", entry__act="test"
    )
    on_days = verdicts.annotate(day=local_day("entry__performed_at")).filter(day__range=(first, last))
    return (v.entry for v in on_days.select_related("entry").order_by("entry__performed_at", "entry__id"))


def _work(positions: Iterable[UUID]) -> Iterable[Entry]:
    done = Entry.objects.filter(position__in=positions, act__in=WORK, visit__corrected_by=None, visit__void=False)
    return done.select_related("device").order_by("performed_at", "visit_id", "number")


def _fitted(positions: Iterable[UUID], work: Iterable[Entry]) -> dict[UUID | None, list[tuple[Moment, str]]]:
    """By position, in order: the kind that fills it from each moment on, "" where it was emptied."""
    found: dict[UUID | None, dict[Moment, str]] = defaultdict(dict)
    for row in Fitting.objects.filter(position__in=positions).select_related("device").order_by("posted_at"):
        found[row.position_id][row.since, *REGISTER] = row.device.kind_id if row.device else ""
    for entry in work:
        if entry.act in ("replace", "fit", "remove"):
            found[entry.position_id][_moment(entry)] = entry.device.kind_id if entry.device else ""
    return {position: sorted(told.items()) for position, told in found.items()}


def _kind(fitted: list[tuple[Moment, str]], moment: Moment) -> str:
    return next((kind for since, kind in reversed(fitted) if since <= moment), "")


def _moment(entry: Entry) -> Moment:
    return entry.performed_at, entry.visit_id, entry.number
