"""post_visits: the way every result from the field comes in, one visit or many."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.accounts.models import User
from fleet.assessments.models import Answer
from fleet.catalog import queries as catalog
from fleet.errors import Fault, Refused
from fleet.pipeline.answer import answer
from fleet.pipeline.conclude import Concluded, write
from fleet.portfolio.models import Boiler, Position
from fleet.portfolio.news import Cause
from fleet.visits import services
from fleet.visits.check import Register, faults
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Visit


@dataclass(frozen=True, slots=True)
class Posted:
    """The answer as JSON text, and whether this post made it or an earlier one did."""

    visit: UUID
    body: str
    created: bool

    def told(self) -> dict[str, Any]:
        """The answer as a value."""
        return dict(json.loads(self.body))


def post_visits(
    visits: Sequence[IncomingVisit], *, by: User | None, at: datetime, cause: Cause | None = None
) -> list[Posted]:
    """Post visits together: their facts in one transaction, each boiler judged once. Raises Refused, keeping nothing.

    A repeat (same id, same content) gets the first answer again and writes nothing; other content under a known id
    is refused with 409. In bulk the answers tell the standing before the first and after the last.
    """
    cause = cause or Cause(who=by.get_username() if by else "")
    repeats: list[Posted] = []

    def facts(boilers: list[Boiler]) -> list[Visit]:
        known = {b.id: b for b in boilers}
        new = [v for v in visits if not _repeat(v, repeats)]
        _refuse(new, known, at)
        return [services.add(incoming=v, boiler=known[v.boiler], posted_at=at, posted_by=by) for v in new]

    def then(made: list[Visit], done: list[Concluded]) -> None:
        by_boiler = {d.boiler.id: d for d in done}
        for visit in made:
            body = json.dumps(answer(visit, by_boiler[visit.boiler_id], at))
            Answer.objects.create(id=visit.id, portfolio_id=visit.portfolio_id, visit=visit, body=body, answered_at=at)

    made = write(boilers={v.boiler for v in visits}, at=at, cause=cause, facts=facts, then=then)
    new = {a.visit_id: Posted(a.visit_id, a.body, created=True) for a in Answer.objects.filter(visit__in=made)}
    answered = {p.visit: p for p in repeats} | new
    return [answered[v.id] for v in visits]


def _repeat(visit: IncomingVisit, repeats: list[Posted]) -> bool:
    """Whether this id is known: with the same content its first answer is kept, with other content it is refused."""
    known = Visit.objects.select_related("answer").filter(id=visit.id).first()
    if known is None:
        return False
    if known.digest != visit.digest:
        raise Refused("id_taken", "This id was posted with other content.", ("id",), status=409)
    repeats.append(Posted(visit.id, known.answer.body, created=False))
    return True


def _refuse(visits: Sequence[IncomingVisit], boilers: dict[UUID, Boiler], at: datetime) -> None:
    many = len(visits) > 1
    for index, visit in enumerate(visits):
        if visit.boiler not in boilers:
            raise Refused("unknown_boiler", "No such boiler.", ("boiler",), status=404)
        _refuse_correction(visit)
        found = faults(visit, _register(visit, boilers[visit.boiler], at), at)
        if found:
            placed = [Fault(f.code, f.message, (index, *f.at)) for f in found] if many else found
            raise Refused.all(placed, status=422)


def _refuse_correction(visit: IncomingVisit) -> None:
    """One successor per visit, of the same boiler."""
    if visit.corrects is None:
        return
    old = Visit.objects.filter(id=visit.corrects, boiler=visit.boiler).first()
    if old is None:
        raise Refused("unknown_visit", "No such visit of this boiler to correct.", ("corrects",), status=422)
    successor = Visit.objects.filter(corrects=old).first()
    if successor is not None:
        raise Refused("corrected_already", f"Visit {successor.id} corrects it already.", ("corrects",), status=409)


def _register(visit: IncomingVisit, boiler: Boiler, at: datetime) -> Register:
    positions = Position.objects.filter(boiler=boiler)
    if boiler.header_group_id:
        positions |= Position.objects.filter(header_group=boiler.header_group_id)
    users = User.objects.filter(id__in=[p.user for p in visit.people if p.user]).values_list("id", flat=True)
    return Register(
        since=boiler.since,
        roles=dict(positions.values_list("id", "role_id")),
        users=frozenset(users),
        catalogue=catalog.catalogue_of(catalog.current(at.date()) or 1),
    )
