"""post_visits: the way in for results from the field, one visit or many."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from uuid import UUID

from django.db import transaction

from fleet.accounts import people
from fleet.accounts.models import User
from fleet.assessments.models import Answer
from fleet.assessments.queries import waiting_corrections
from fleet.catalog import queries as catalog
from fleet.errors import Fault, FaultPath, Refused
from fleet.pipeline import corrections
from fleet.pipeline.answer import store_answers
from fleet.pipeline.boiler_registers import read_boiler_register
from fleet.pipeline.conclude import EventsByPortfolio, write_and_conclude
from fleet.pipeline.papers_of_others import repeated_paper_faults
from fleet.portfolio.models import Boiler
from fleet.records.events import Cause, ChangeEvent
from fleet.visits import register_gaps, services
from fleet.visits.check import visit_faults
from fleet.visits.dropped_answers import EarlierAnswers, dropped_answer_faults, find_earlier_answers
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Visit


@dataclass(frozen=True, slots=True)
class PostedVisit:
    """The answer to a visit as JSON text, and whether this post created it (false: a repeat)."""

    visit: UUID
    body: str
    created: bool

    def parse_body(self) -> dict[str, object]:
        """Return the answer as a value."""
        return dict(json.loads(self.body))


def post_visits(
    visits: Sequence[IncomingVisit],
    *,
    by: User | None,
    at: datetime,
    cause: Cause | None = None,
    is_under_pin: bool = False,
) -> list[PostedVisit]:
    """Post visits together: their facts in one transaction, each boiler judged once. Raises Refused and writes nothing.

    `is_under_pin`: they come by a boiler-room card, each under the own PIN of the one operator whom it names.

    A repeat (same id, same content) gets the first answer again and writes nothing; other content under a known id
    is refused with 409. One bad visit refuses all, with the faults of each. Answers of visits posted together give
    the standing before the first and after the last.
    """
    cause = cause or Cause(who=by.get_username() if by else "")

    answer_events: list[ChangeEvent] = []

    def write_facts(boilers: list[Boiler]) -> list[Visit]:
        by_id = {b.id: b for b in boilers}
        new_visits = _add_new_visits(visits, by_id, by, at, is_under_pin=is_under_pin)
        answer_events.extend(_put_answers_on_record(visits, {v.id for v in new_visits}, boilers, at))
        return new_visits

    def describe_events(new_visits: list[Visit]) -> EventsByPortfolio:
        events = {p: list(e) for p, e in corrections.correction_events(new_visits).items()}
        portfolios = {v.boiler_id: v.portfolio_id for v in new_visits}
        for event in answer_events:
            assert event.boiler is not None
            events.setdefault(portfolios[event.boiler], []).append(event)
        return events

    boilers = {v.boiler for v in visits}
    new_visits = write_and_conclude(
        boilers=boilers,
        at=at,
        cause=cause,
        write_facts=write_facts,
        describe_events=describe_events,
        after_judging=partial(store_answers, at=at),
    )
    new_ids = {v.id for v in new_visits}
    bodies = dict(Answer.objects.filter(visit__in=[v.id for v in visits]).values_list("visit", "body"))
    return [PostedVisit(v.id, bodies[v.id], created=v.id in new_ids) for v in visits]


def check_visit(visit: IncomingVisit, *, by: User | None, at: datetime) -> PostedVisit:
    """Judge a visit as `post_visits` would and store nothing of it. Raises Refused as that does.

    All of it happens in a transaction that is rolled back, so the answer is the one that a post at this instant would
    get, and no row, event or wake-up outlives it. A visit that was posted already gets its first answer.
    """
    with transaction.atomic():
        posted = post_visits([visit], by=by, at=at)[0]
        transaction.set_rollback(True)
    return posted


def _add_new_visits(
    visits: Sequence[IncomingVisit],
    boilers: Mapping[UUID, Boiler],
    by: User | None,
    at: datetime,
    *,
    is_under_pin: bool = False,
) -> list[Visit]:
    """Write the visits that are new. Raises Refused with the faults of all where any of them is wrong."""
    new_visits: list[Visit] = []
    faults: list[Fault] = []
    for index, visit in enumerate(visits):
        repeat = _check_repeat(visit)
        wrong = [repeat] if isinstance(repeat, Fault) else [] if repeat else _new_visit_faults(visit, boilers, by, at)
        place: FaultPath = (index,) if len(visits) > 1 else ()
        faults += [Fault(f.code, f.message, (*place, *f.at)) for f in wrong]
        if not (repeat or wrong):
            boiler = boilers[visit.boiler]
            new_visits.append(
                services.add_visit(incoming=visit, boiler=boiler, posted_at=at, posted_by=by, is_under_pin=is_under_pin)
            )
    if faults:
        raise Refused.from_faults(faults, status=corrections.refusal_status(faults))
    return new_visits


def _put_answers_on_record(
    visits: Sequence[IncomingVisit], new_ids: set[UUID], boilers: Sequence[Boiler], at: datetime
) -> Iterator[ChangeEvent]:
    """Write what new visits answer of the places that registers leave out; yield the events."""
    by_id = {b.id: b for b in boilers}
    for visit in visits:
        if visit.id not in new_ids:
            continue
        if visit.register_answers and not visit.void:
            boiler, release = by_id[visit.boiler], catalog.catalogue_at(at)
            gaps = register_gaps.gaps_of_boiler(boiler, release, at)
            earlier_answers = _earlier_answers(visit)
            yield from register_gaps.write_answers(
                visit, boiler, gaps, earlier_answers=earlier_answers, catalogue=release, posted_at=at
            )


def _earlier_answers(visit: IncomingVisit) -> EarlierAnswers:
    """Return what the visits that this one corrects answered of the register."""
    if visit.corrects is None:
        return EarlierAnswers()
    return find_earlier_answers(visit, waiting_corrections(visit.boiler))


def _answer_faults(visit: IncomingVisit, boiler: Boiler, by: User | None, at: datetime) -> Iterator[Fault]:
    """Yield the faults of the answers to what the register leaves out; asks the database only where there are any."""
    earlier_answers = _earlier_answers(visit)
    if visit.corrects:
        yield from dropped_answer_faults(visit, earlier_answers)
    if visit.register_answers and not visit.void:
        release = catalog.catalogue_at(at)
        gaps = register_gaps.gaps_of_boiler(boiler, release, at)
        # Places become facts of the register at once, so they rest on their poster's own word.
        is_present = by is not None and any(p.user == by.id for p in visit.people)
        codes = people.qualification_codes_at(boiler.portfolio_id, by.id, visit.performed_at) if by else set()
        is_qualified = is_present and "technician" in codes
        yield from register_gaps.answer_faults(
            visit, gaps, release, is_qualified=is_qualified, earlier_answers=earlier_answers
        )


def _check_repeat(visit: IncomingVisit) -> bool | Fault:
    """Return whether this id is known with the same content; a fault where it is known with other content."""
    digest = Visit.objects.filter(id=visit.id).values_list("digest", flat=True).first()
    if digest is not None and digest != visit.digest:
        return Fault("id_taken", "This id was already posted with other content.", ("id",))
    return digest is not None


def _new_visit_faults(
    visit: IncomingVisit, boilers: Mapping[UUID, Boiler], by: User | None, at: datetime
) -> list[Fault]:
    """Return everything a new visit is refused for."""
    boiler = boilers.get(visit.boiler)
    if boiler is None:
        return [Fault("unknown_boiler", "Boiler not found.", ("boiler",))]
    return [
        *corrections.correction_faults(visit, boiler, by, at),
        *visit_faults(visit, read_boiler_register(boiler, [visit], at), at),
        *_answer_faults(visit, boiler, by, at),
        *repeated_paper_faults(visit),
    ]
