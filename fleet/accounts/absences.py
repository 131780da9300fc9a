"""Who is away from when to when, and who stands in."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts.models import Absence, Grant, User
from fleet.errors import Fault, Refused
from fleet.records.row_spans import not_ended

REASONS = ("sick", "holiday", "other")
MAX_STAND_INS_FOLLOWED = 10  # who stands in for whom: bounds a ring


@dataclass(frozen=True, slots=True)
class AbsenceRequest:
    """Somebody is to be away. `until` None: until further notice."""

    user: UUID
    since: datetime
    until: datetime | None
    stand_in: UUID | None
    reason: str


def absences_at(portfolio: UUID, at: datetime) -> dict[UUID, Absence]:
    """Return who is away from a portfolio at an instant, by person; of several the one recorded last."""
    rows = Absence.objects.filter(_not_over(at), portfolio=portfolio, since__lte=at).select_related("stand_in")
    return {row.user_id: row for row in rows.order_by("recorded_at", "id")}


def absences_from(portfolio: UUID, at: datetime) -> QuerySet[Absence]:
    """Return the absences of a portfolio that are not over, the first to begin first."""
    rows = Absence.objects.filter(_not_over(at), portfolio=portfolio).select_related("user", "stand_in", "recorded_by")
    return rows.order_by("since", "user__username", "id")


def _not_over(at: datetime) -> Q:
    return (Q(until=None) | Q(until__gt=at)) & (Q(ended_at=None) | Q(ended_at__gt=at))


def people_in_place_of(person: UUID, absences: Mapping[UUID, Absence]) -> Sequence[UUID]:
    """Return who hears what comes to a person: the person, else the first in the row of stand-ins who is there.

    Empty where the person is away and nobody in the row is there.
    """
    visited_ids: set[UUID] = set()
    current: UUID | None = person
    while current is not None and current in absences and len(visited_ids) < MAX_STAND_INS_FOLLOWED:
        if current in visited_ids:
            return ()
        visited_ids.add(current)
        current = absences[current].stand_in_id
    return () if current is None or current in absences else (current,)


def record_absence(*, portfolio: UUID, request: AbsenceRequest, by: User, at: datetime) -> Absence:
    """Record that somebody will be away. Raises Refused (422) with every fault. The caller checks permission."""
    faults = list(_absence_faults(portfolio, request, at))
    if faults:
        raise Refused.from_faults(faults, status=422)
    return Absence.objects.create(
        portfolio_id=portfolio,
        user_id=request.user,
        since=request.since,
        until=request.until,
        stand_in_id=request.stand_in,
        reason=request.reason,
        recorded_at=at,
        recorded_by=by,
    )


def _absence_faults(portfolio: UUID, request: AbsenceRequest, at: datetime) -> Iterator[Fault]:
    known_people = set(_people_here(portfolio, (request.user, request.stand_in), at))
    if request.user not in known_people:
        yield Fault("unknown_person", "Person not found.", ("user",))
    if request.stand_in is not None and request.stand_in not in known_people:
        yield Fault("unknown_person", "Person not found.", ("stand_in",))
    if request.stand_in == request.user:
        yield Fault("bad_value", "Nobody stands in for himself.", ("stand_in",))
    if request.until is not None and request.until <= max(request.since, at):
        yield Fault("out_of_range", "The end must come after the beginning, and after now.", ("until",))
    if request.reason not in REASONS:
        yield Fault("bad_value", f"One of {', '.join(REASONS)}.", ("reason",))


def _people_here(portfolio: UUID, people: Iterable[UUID | None], at: datetime) -> Iterable[UUID]:
    person_ids = [person for person in people if person]
    grants = Grant.objects.filter(not_ended(at), portfolio=portfolio, user__in=person_ids, user__is_active=True)
    return grants.values_list("user", flat=True)


def end_absence(*, absence: UUID, portfolio: UUID, at: datetime) -> bool:
    """End an absence early, or take it back before it begins; return whether there was one."""
    rows = Absence.objects.filter(_not_over(at), id=absence, portfolio=portfolio)
    return rows.update(ended_at=at) == 1
