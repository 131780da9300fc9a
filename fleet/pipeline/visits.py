"""post_visits: the way every result from the field comes in, one visit or many."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.accounts.models import User
from fleet.assessments.models import Answer
from fleet.catalog import queries as catalog
from fleet.errors import Fault, Place, Refused
from fleet.pipeline.answer import answer
from fleet.pipeline.conclude import Concluded, write
from fleet.portfolio.models import Boiler, Position
from fleet.portfolio.news import Cause
from fleet.visits import services
from fleet.visits.check import Register, faults, known_devices
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

    def facts(boilers: list[Boiler]) -> list[Visit]:
        known, made = {b.id: b for b in boilers}, []
        for index, visit in enumerate(visits):
            place: Place = (index,) if len(visits) > 1 else ()
            if not _repeat(visit, place):
                _refuse(visit, known, at, place)
                made.append(services.add(incoming=visit, boiler=known[visit.boiler], posted_at=at, posted_by=by))
        return made

    def then(made: list[Visit], done: list[Concluded]) -> None:
        by_boiler = {d.boiler.id: d for d in done}
        Answer.objects.bulk_create(_answer(visit, by_boiler[visit.boiler_id], at) for visit in made)

    new = {v.id for v in write(boilers={v.boiler for v in visits}, at=at, cause=cause, facts=facts, then=then)}
    told = dict(Answer.objects.filter(visit__in=[v.id for v in visits]).values_list("visit", "body"))
    return [Posted(v.id, told[v.id], created=v.id in new) for v in visits]


def _answer(visit: Visit, done: Concluded, at: datetime) -> Answer:
    body = json.dumps(answer(visit, done, at))
    return Answer(id=visit.id, portfolio_id=visit.portfolio_id, visit=visit, body=body, answered_at=at)


def _repeat(visit: IncomingVisit, place: Place) -> bool:
    """Whether this id is known with the same content; with other content it is refused."""
    digest = Visit.objects.filter(id=visit.id).values_list("digest", flat=True).first()
    if digest is not None and digest != visit.digest:
        raise Refused("id_taken", "This id was posted with other content.", (*place, "id"), status=409)
    return digest is not None


def _refuse(visit: IncomingVisit, boilers: dict[UUID, Boiler], at: datetime, place: Place) -> None:
    if visit.boiler not in boilers:
        raise Refused("unknown_boiler", "No such boiler.", (*place, "boiler"), status=404)
    found = [*_correction(visit), *faults(visit, _register(visit, boilers[visit.boiler], at), at)]
    if found:
        status = 409 if [f.code for f in found] == ["corrected_already"] else 422
        raise Refused.all([Fault(f.code, f.message, (*place, *f.at)) for f in found], status=status)


def _correction(visit: IncomingVisit) -> Iterator[Fault]:
    """One successor per visit, of the same boiler."""
    if visit.corrects is None:
        return
    old = Visit.objects.filter(id=visit.corrects, boiler=visit.boiler).first()
    successor = Visit.objects.filter(corrects=old).first() if old else None
    if old is None:
        yield Fault("unknown_visit", "No such visit of this boiler to correct.", ("corrects",))
    elif successor is not None:
        yield Fault("corrected_already", f"Visit {successor.id} corrects it already.", ("corrects",))


def _register(visit: IncomingVisit, boiler: Boiler, at: datetime) -> Register:
    positions = Position.objects.filter(boiler=boiler)
    if boiler.header_group_id:
        positions |= Position.objects.filter(header_group=boiler.header_group_id)
    users = User.objects.filter(id__in=[p.user for p in visit.people if p.user], grants__portfolio=boiler.portfolio_id)
    return Register(
        since=boiler.since,
        roles=dict(positions.values_list("id", "role_id")),
        users=frozenset(users.values_list("id", flat=True)),
        catalogue=catalog.catalogue_of(catalog.current(at.date()) or 1),
        devices=known_devices(visit, boiler.portfolio_id),
    )
