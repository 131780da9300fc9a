"""Corrections: who may correct which visit, and the second qualified name under a correction."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from fleet.accounts.models import User
from fleet.assessments.queries import waiting_corrections
from fleet.errors import Fault, Refused
from fleet.pipeline.conclude import write_and_conclude
from fleet.portfolio.models import Boiler
from fleet.records.events import Cause, ChangeEvent
from fleet.visits import corrections
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Seconding, Visit

STATUS_BY_CODE = {
    "id_taken": 409,
    "unknown_boiler": 404,
    "corrected_already": 409,
    "paper_posted_already": 409,
    "not_yours_to_correct": 403,
}


def correction_faults(visit: IncomingVisit, boiler: Boiler, by: User | None, at: datetime) -> Iterator[Fault]:
    """Yield the faults of a visit as a correction; none where it corrects nothing.

    A visit can have at most one successor, of the same boiler. Its author corrects it within `policy.OWN_CORRECTION`, a
    manager at any time. No device that later visits refer to may be dropped.
    """
    if visit.corrects is None:
        return
    old = Visit.objects.filter(id=visit.corrects, boiler=visit.boiler).first()
    successor = Visit.objects.filter(corrects=old).first() if old else None
    if old is None:
        yield Fault("unknown_visit", "This boiler has no such visit to correct.", ("corrects",))
        return
    if successor is not None:
        yield Fault("corrected_already", f"Visit {successor.id} already corrects it.", ("corrects",))
    # No user means the site itself posts: an import or the demonstration.
    if by is not None and not corrections.may_correct(old, boiler, by, at):
        message = "Its author corrects a visit within 24 hours of posting it; after that a manager does."
        yield Fault("not_yours_to_correct", message, ("corrects",))
    yield from corrections.dropped_device_faults(visit, old)


def refusal_status(faults: Sequence[Fault]) -> int:
    """Return the HTTP status of these faults: their own where all have the same one, else 422."""
    statuses = {STATUS_BY_CODE.get(f.code, 422) for f in faults}
    return statuses.pop() if len(statuses) == 1 else 422


def correction_events(visits: Sequence[Visit]) -> Mapping[UUID, Sequence[ChangeEvent]]:
    """Return the events of those visits that are corrections, by portfolio."""
    events_by_portfolio: dict[UUID, list[ChangeEvent]] = {}
    for visit in visits:
        if visit.corrects_id:
            events_by_portfolio.setdefault(visit.portfolio_id, []).append(_correction_event(visit))
    return events_by_portfolio


def _correction_event(visit: Visit) -> ChangeEvent:
    assert visit.corrects_id is not None
    after = "void" if visit.void else "corrected"
    sentence = f"Visit {visit.corrects_id} is {'void' if visit.void else 'corrected'}, by visit {visit.id}."
    return ChangeEvent(
        "visit.corrected",
        visit.corrects_id,
        boiler=visit.boiler_id,
        before="",
        after=after,
        sentence=sentence,
        rule="",
        at=visit.performed_at,
        reason=visit.reason,
    )


def second_correction(*, visit: UUID, by: User, at: datetime, cause: Cause | None = None) -> Seconding:
    """Put a second qualified name under a correction or a paper, once, and judge its boiler again.

    Raises Refused where there is no such visit, it is neither, it was corrected again, it is one's own, the
    person is not qualified, or it is seconded already.
    """
    correction = Visit.objects.filter(id=visit).first()
    if correction is None:
        raise Refused("unknown_visit", "Visit not found.", status=404)

    def write_facts(boilers: list[Boiler]) -> Seconding:
        corrections.refuse_second(correction, by, at, waiting_corrections(correction.boiler_id))
        return Seconding.objects.create(portfolio_id=correction.portfolio_id, visit=correction, by=by, at=at)

    def describe_events(seconding: Seconding) -> Mapping[UUID, Sequence[ChangeEvent]]:
        subject = "correction" if correction.corrects_id else "paper"
        sentence = f"{by.get_username()} seconded the {subject}."
        return {
            correction.portfolio_id: [
                ChangeEvent(
                    "visit.seconded",
                    correction.id,
                    boiler=correction.boiler_id,
                    before="",
                    after="seconded",
                    sentence=sentence,
                    rule="",
                    at=at,
                    reason=correction.reason,
                )
            ]
        }

    return write_and_conclude(
        boilers=[correction.boiler_id],
        at=at,
        cause=cause or Cause(who=by.get_username()),
        write_facts=write_facts,
        describe_events=describe_events,
    )
