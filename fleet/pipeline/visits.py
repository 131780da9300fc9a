"""post_visits: the way in for results from the field, one visit or many."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.accounts.models import User
from fleet.assessments.models import Answer
from fleet.catalog import queries as catalog
from fleet.errors import Fault, Place, Refused
from fleet.pipeline import corrections
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
    """The answer to a visit as JSON text, and whether this post created it (false: a repeat)."""

    visit: UUID
    body: str
    created: bool

    def told(self) -> dict[str, Any]:
        """Return the answer as a value."""
        return dict(json.loads(self.body))


def post_visits(
    visits: Sequence[IncomingVisit], *, by: User | None, at: datetime, cause: Cause | None = None
) -> list[Posted]:
    """Post visits together: their facts in one transaction, each boiler judged once. Raises Refused and writes nothing.

    A repeat (same id, same content) gets the first answer again and writes nothing; other content under a known id
    is refused with 409. One bad visit refuses all, with the faults of each. Answers of visits posted together give
    the standing before the first and after the last.
    """
    cause = cause or Cause(who=by.get_username() if by else "")

    def facts(boilers: list[Boiler]) -> list[Visit]:
        return _add(visits, {b.id: b for b in boilers}, by, at)

    def then(made: list[Visit], done: list[Concluded]) -> None:
        by_boiler = {d.boiler.id: d for d in done}
        Answer.objects.bulk_create(_answer(visit, by_boiler[visit.boiler_id], at) for visit in made)

    boilers = {v.boiler for v in visits}
    made = write(boilers=boilers, at=at, cause=cause, facts=facts, told=corrections.told, then=then)
    new = {v.id for v in made}
    told = dict(Answer.objects.filter(visit__in=[v.id for v in visits]).values_list("visit", "body"))
    return [Posted(v.id, told[v.id], created=v.id in new) for v in visits]


def _add(visits: Sequence[IncomingVisit], boilers: Mapping[UUID, Boiler], by: User | None, at: datetime) -> list[Visit]:
    """Write the visits that are new. Raises Refused with the faults of all where any of them is wrong."""
    made: list[Visit] = []
    found: list[Fault] = []
    for index, visit in enumerate(visits):
        repeat = _repeat(visit)
        wrong = [repeat] if isinstance(repeat, Fault) else [] if repeat else _wrong(visit, boilers, by, at)
        place: Place = (index,) if len(visits) > 1 else ()
        found += [Fault(f.code, f.message, (*place, *f.at)) for f in wrong]
        if not (repeat or wrong):
            made.append(services.add(incoming=visit, boiler=boilers[visit.boiler], posted_at=at, posted_by=by))
    if found:
        raise Refused.all(found, status=corrections.status(found))
    return made


def _answer(visit: Visit, done: Concluded, at: datetime) -> Answer:
    body = json.dumps(answer(visit, done, at))
    return Answer(id=visit.id, portfolio_id=visit.portfolio_id, visit=visit, body=body, answered_at=at)


def _repeat(visit: IncomingVisit) -> bool | Fault:
    """Return whether this id is known with the same content; a fault where it is known with other content."""
    digest = Visit.objects.filter(id=visit.id).values_list("digest", flat=True).first()
    if digest is not None and digest != visit.digest:
        return Fault("id_taken", "This id was posted with other content.", ("id",))
    return digest is not None


def _wrong(visit: IncomingVisit, boilers: Mapping[UUID, Boiler], by: User | None, at: datetime) -> list[Fault]:
    """Return everything a new visit is refused for."""
    boiler = boilers.get(visit.boiler)
    if boiler is None:
        return [Fault("unknown_boiler", "No such boiler.", ("boiler",))]
    return [*corrections.faults(visit, boiler, by, at), *faults(visit, _register(visit, boiler, at), at)]


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
