"""What corrections do to answers about the register: which still stand, and which places are taken back."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Min

from fleet.catalog import queries as catalog
from fleet.errors import Fault
from fleet.portfolio.models import Boiler, Fitting, Position, Setting
from fleet.records.events import ChangeEvent
from fleet.visits.incoming import IncomingVisit, RegisterAnswer
from fleet.visits.models import Entry, Visit
from fleet.visits.places import standing_entries


@dataclass(frozen=True, slots=True)
class EarlierAnswers:
    """What the visits that a correction corrects have answered: all of it, and what of it still stands."""

    all_answers: frozenset[RegisterAnswer] = frozenset()
    standing_answers: frozenset[RegisterAnswer] = frozenset()


def find_earlier_answers(visit: IncomingVisit, waiting: Collection[UUID]) -> EarlierAnswers:
    """Return what the chain of visits that this one corrects has answered.

    `waiting` are corrections without effect: what they drop still stands.
    """
    all_answers: frozenset[RegisterAnswer] = frozenset()
    standing_answers: frozenset[RegisterAnswer] = frozenset()
    is_dropped = False
    for corrected in _corrected_visits(visit):
        own_answers = frozenset() if corrected.void else _answers_of(corrected.register_answers)
        all_answers |= own_answers
        standing_answers |= frozenset() if is_dropped else own_answers
        is_dropped = is_dropped or corrected.id not in waiting
    return EarlierAnswers(all_answers, standing_answers)


def _corrected_visits(visit: IncomingVisit) -> Iterator[Visit]:
    corrects = visit.corrects
    while corrects is not None:
        corrected = Visit.objects.filter(id=corrects).first()
        if corrected is None:
            return
        yield corrected
        corrects = corrected.corrects_id


def _answers_of(rows: Iterable[Mapping[str, Any]]) -> frozenset[RegisterAnswer]:
    return frozenset(RegisterAnswer(**answer) for answer in rows)


def place_id(visit: UUID, answer: RegisterAnswer) -> UUID:
    """Return the id of the place that an answer of a visit puts on record."""
    return uuid5(visit, f"place {answer.role} {answer.kind}")


def dropped_answer_faults(visit: IncomingVisit, earlier_answers: EarlierAnswers) -> Iterator[Fault]:
    """Yield a fault for each answer that a correction drops although later visits have evidence about its place."""
    restated = frozenset() if visit.void else frozenset(visit.register_answers)
    chain = [corrected.id for corrected in _corrected_visits(visit)]
    places = {place_id(giver, answer) for giver in chain for answer in earlier_answers.standing_answers - restated}
    for place in Position.objects.filter(id__in=places).order_by("id"):
        later = _evidence_of_others(place, chain)
        if later is not None:
            message = (
                f"Visit {later.visit_id} has evidence about the {place.name}, which the visit put on record that this "
                "one corrects. Restate the answer, or correct that visit first."
            )
            yield Fault("device_has_later_evidence", message, ("void",) if visit.void else ("corrects",))


def _evidence_of_others(place: Position, chain: Collection[UUID]) -> Entry | None:
    """Return an entry about the place of a visit that counts and is not of this chain of corrections."""
    return standing_entries(Entry.objects.filter(position=place)).exclude(visit__in=chain).first()


def take_back_answers(
    boiler: Boiler, corrections: Mapping[UUID, UUID], waiting: Collection[UUID], posted_at: datetime
) -> list[ChangeEvent]:
    """Empty each place that a visit put on record and that the corrections which count no longer speak of.

    `corrections` are the boiler's, by the visit that each corrects; `waiting` are those without effect. What a waiting
    one restates is kept. A place about which another visit has evidence by now is kept too: somebody saw it there.
    Nobody knows otherwise what is there. The place counts as *not fitted* from its first day on, which is the side that
    asks somebody to look: a register that forgot it would ask for it only in sixty days.
    """
    if not any(correction not in waiting for correction in corrections.values()):
        return []
    givers = Visit.objects.filter(boiler=boiler, void=False).exclude(register_answers=[])
    answers = {v: _answers_of(rows) for v, rows in givers.values_list("id", "register_answers")}
    chain_by_place: dict[UUID, Sequence[UUID]] = {}
    for giver in answers:
        chain = _chain_from(giver, corrections)
        ends = [number for number, visit in enumerate(chain) if visit not in waiting]
        kept_answers = frozenset().union(*(answers.get(visit, frozenset()) for visit in chain[max(ends, default=0) :]))
        chain_by_place.update({place_id(giver, answer): chain for answer in answers[giver] - kept_answers})
    places = Position.objects.filter(id__in=chain_by_place).order_by("id")
    emptying_facts = set(Fitting.objects.filter(id__in=map(_emptying_id, chain_by_place)).values_list("id", flat=True))
    return [
        _take_back(place, boiler, posted_at)
        for place in places
        if _emptying_id(place.id) not in emptying_facts and not _evidence_of_others(place, chain_by_place[place.id])
    ]


def _chain_from(visit: UUID, corrections: Mapping[UUID, UUID]) -> list[UUID]:
    """Return a visit and its corrections, oldest first."""
    chain = [visit]
    while chain[-1] in corrections:
        chain.append(corrections[chain[-1]])
    return chain


def _emptying_id(place: UUID) -> UUID:
    """Return the id of the fact that a place was taken back: it is written once, whatever is put on record later."""
    return uuid5(place, "taken back")


def _take_back(place: Position, boiler: Boiler, posted_at: datetime) -> ChangeEvent:
    since = Fitting.objects.filter(position=place).aggregate(first_day=Min("since"))["first_day"]
    dated = {"position": place, "since": since, "posted_at": posted_at, "portfolio_id": place.portfolio_id}
    Fitting.objects.create(id=_emptying_id(place.id), device=None, **dated)
    if Setting.objects.filter(position=place, key="needed").exists():
        Setting.objects.create(key="needed", value=True, **dated)
    name = catalog.catalogue_at(posted_at).roles[place.role_id].name
    return ChangeEvent(
        "register.answered",
        place.id,
        boiler=boiler.id,
        before="",
        after="taken_back",
        sentence=f"{name}: the visit that put it on record no longer says so. It counts as not fitted until what is "
        "there is on record.",
        rule="",
        at=since,
    )
