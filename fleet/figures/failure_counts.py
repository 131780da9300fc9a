"""How often tests found devices failed, by kind of device, by present knowledge."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import QuerySet

from fleet.assessments.models import Verdict
from fleet.figures.days import around_days, local_day
from fleet.portfolio.models import Boiler, Fitting
from fleet.rules.vocabulary import OCCUPANT_ACTS, WORK_ACTS
from fleet.visits.models import Entry

Moment = tuple[datetime, UUID, int]
REGISTER_ORDER = (UUID(int=0), 0)  # a fitting of the register comes before entries of the same instant


@dataclass(frozen=True, slots=True)
class FailureCounts:
    """How often devices of one kind were tested as found, and how often they failed."""

    tried: int
    failed: int


def failures_by_kind(boilers: QuerySet[Boiler], first: date, last: date) -> dict[str, int]:
    """Return how often devices of each kind failed a test as found on these local days, most first: 3 queries.

    A test is as found if its entry says so, or says nothing and nothing was done to the position before it in the
    visit. A position counts once a visit. The kind is that of the device in the position then.
    """
    return dict(Counter(kind for kind, _ in _as_found_outcomes(boilers, first, last, ("fail",))).most_common())


def failure_counts_by_kind(boilers: QuerySet[Boiler], first: date, last: date) -> dict[str, FailureCounts]:
    """Return the same with how often each kind was tested as found, passed or failed: 3 queries."""
    tests_by_kind: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    for kind, outcomes in _as_found_outcomes(boilers, first, last, ("pass", "fail")):
        tests_by_kind[kind] += 1
        failed[kind] += "fail" in outcomes
    return {kind: FailureCounts(tests_by_kind[kind], count) for kind, count in failed.most_common()}


def _as_found_outcomes(
    boilers: QuerySet[Boiler], first: date, last: date, outcomes: Sequence[str]
) -> Iterable[tuple[str, set[str]]]:
    """Return, for each position of each visit, the kind that filled it and which of these outcomes it had as found."""
    tests = list(_stored_tests(boilers, first, last, outcomes))
    positions = {test.position for test in tests if test.position}
    work = list(_work_entries(positions))
    fitted = _fittings_by_position(positions, work)
    touched = {(w.visit_id, w.position_id): w.number for w in reversed(work)}
    had: dict[tuple[UUID, UUID | None], set[str]] = defaultdict(set)
    kinds: dict[tuple[UUID, UUID | None], str] = {}
    for test in tests:
        key = test.visit, test.position
        if test.phase == "as_found" or (not test.phase and test.number < touched.get(key, test.number + 1)):
            kinds[key] = _kind_at(fitted.get(test.position, []), (test.at, test.visit, test.number))
            had[key].add(test.outcome)
    return [(kind, had[key]) for key, kind in kinds.items() if kind]


class _StoredTest(NamedTuple):
    visit: UUID
    position: UUID | None
    number: int
    at: datetime
    phase: str
    outcome: str


def _stored_tests(boilers: QuerySet[Boiler], first: date, last: date, outcomes: Sequence[str]) -> Iterable[_StoredTest]:
    """Return the tests with these outcomes. Entries that a correction replaced have no verdict."""
    verdicts = Verdict.objects.filter(
        around_days("entry__performed_at", first, last), boiler__in=boilers, outcome__in=outcomes, entry__act="test"
    )
    on_days = verdicts.annotate(day=local_day("entry__performed_at")).filter(day__range=(first, last))
    fields = ("visit", "position", "number", "performed_at", "phase")
    rows = on_days.order_by("entry__performed_at", "entry__id").values_list(*(f"entry__{f}" for f in fields), "outcome")
    return map(_StoredTest._make, rows)


def _work_entries(positions: Iterable[UUID]) -> Iterable[Entry]:
    work_entries = Entry.objects.filter(
        position__in=positions, act__in=WORK_ACTS, visit__corrected_by=None, visit__void=False
    )
    return work_entries.select_related("device").order_by("performed_at", "visit_id", "number")


def _fittings_by_position(
    positions: Iterable[UUID], work: Iterable[Entry]
) -> dict[UUID | None, list[tuple[Moment, str]]]:
    """Return by position, in order, the kind that fills it from each moment on, "" where it was emptied."""
    by_position: dict[UUID | None, dict[Moment, str]] = defaultdict(dict)
    for row in Fitting.objects.filter(position__in=positions).select_related("device").order_by("posted_at"):
        by_position[row.position_id][row.since, *REGISTER_ORDER] = row.device.kind_id if row.device else ""
    for entry in work:
        if entry.act in OCCUPANT_ACTS:
            by_position[entry.position_id][_moment_of(entry)] = entry.device.kind_id if entry.device else ""
    return {position: sorted(moments.items()) for position, moments in by_position.items()}


def _kind_at(fitted: list[tuple[Moment, str]], moment: Moment) -> str:
    return next((kind for since, kind in reversed(fitted) if since <= moment), "")


def _moment_of(entry: Entry) -> Moment:
    return entry.performed_at, entry.visit_id, entry.number
