"""post_past_visits: post a boiler's past together. Each visit keeps its posting time; the boiler is judged once."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import prefetch_related_objects

from fleet.accounts.models import User
from fleet.assessments.models import Answer
from fleet.catalog import queries as catalog
from fleet.errors import Fault, Refused
from fleet.pipeline import corrections
from fleet.pipeline.answer import answer
from fleet.pipeline.conclude import Concluded, write
from fleet.portfolio.models import Boiler, Position
from fleet.portfolio.news import Cause
from fleet.visits import services
from fleet.visits.check import Register, faults, known_devices
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Visit
from fleet.visits.services import BATCH, New


@dataclass(frozen=True, slots=True)
class Bygone:
    """A visit, who posted it (None: the site itself), and when."""

    visit: IncomingVisit
    by: User | None
    posted_at: datetime


def post_bygone(posts: Sequence[Bygone], *, at: datetime, cause: Cause) -> int:
    """Post past visits of boilers in the order they were posted; return how many visits were written.

    Every visit is checked as by its own post. A correction is checked after the visit it corrects is written. An id
    that is known already is refused, even with the same content. Raises Refused with the faults of all visits and
    writes nothing. Answers give the standing before the first visit and after the last, as of `at`.
    """

    def facts(boilers: list[Boiler]) -> list[Visit]:
        return _add(posts, {b.id: b for b in boilers})

    def then(made: list[Visit], done: list[Concluded]) -> None:
        by_boiler = {d.boiler.id: d for d in done}
        prefetch_related_objects(made, "entries")
        Answer.objects.bulk_create([_answer(v, by_boiler[v.boiler_id], at) for v in made], batch_size=BATCH)

    boilers = {p.visit.boiler for p in posts}
    return len(write(boilers=boilers, at=at, cause=cause, facts=facts, told=corrections.told, then=then))


def _add(posts: Sequence[Bygone], boilers: Mapping[UUID, Boiler]) -> list[Visit]:
    registers = {b.id: _register(b, posts) for b in boilers.values()}
    known = set(Visit.objects.filter(id__in=[p.visit.id for p in posts]).values_list("id", flat=True))
    found = [Fault(f.code, f.message, (n, *f.at)) for n, p in enumerate(posts) for f in _wrong(p, registers, known)]
    if found:
        raise Refused.all(found, status=422)
    first = [p for p in posts if p.visit.corrects is None]
    return _written(first, boilers) + _corrected([p for p in posts if p.visit.corrects], boilers)


def _written(posts: Sequence[Bygone], boilers: Mapping[UUID, Boiler]) -> list[Visit]:
    return services.add_all([New(p.visit, boilers[p.visit.boiler], p.posted_at, p.by) for p in posts])


def _corrected(posts: Sequence[Bygone], boilers: Mapping[UUID, Boiler]) -> list[Visit]:
    """Check and write corrections one after another: each may correct the one before."""
    made: list[Visit] = []
    for post in posts:
        boiler = boilers[post.visit.boiler]
        found = list(corrections.faults(post.visit, boiler, post.by, post.posted_at))
        if found:
            raise Refused.all(found, status=422)
        made += _written([post], boilers)
    return made


def _wrong(post: Bygone, registers: Mapping[UUID, Register], known: set[UUID]) -> Iterator[Fault]:
    register = registers.get(post.visit.boiler)
    if post.visit.id in known:
        yield Fault("id_taken", "This visit is known.", ("id",))
    if register is None:
        yield Fault("unknown_boiler", "No such boiler.", ("boiler",))
    else:
        yield from faults(post.visit, register, post.posted_at)


def _register(boiler: Boiler, posts: Sequence[Bygone]) -> Register:
    """Read what exists at the boiler, for all of its visits at once, by the catalogue at the newest posting time."""
    own = [p for p in posts if p.visit.boiler == boiler.id]
    positions = Position.objects.filter(boiler=boiler)
    if boiler.header_group_id:
        positions |= Position.objects.filter(header_group=boiler.header_group_id)
    named = {person.user for p in own for person in p.visit.people if person.user}
    users = User.objects.filter(id__in=named, grants__portfolio=boiler.portfolio_id)
    newest = max((p.posted_at for p in own), default=boiler.since)
    naming = [p.visit for p in own if any(e.device for e in p.visit.entries)]  # a query each: few do
    devices = {k: v for visit in naming for k, v in known_devices(visit, boiler.portfolio_id).items()}
    return Register(
        since=boiler.since,
        roles=dict(positions.values_list("id", "role_id")),
        users=frozenset(users.values_list("id", flat=True)),
        catalogue=catalog.catalogue_of(catalog.current(newest.date()) or 1),
        devices=devices,
    )


def _answer(visit: Visit, done: Concluded, at: datetime) -> Answer:
    body = json.dumps(answer(visit, done, at))
    return Answer(id=visit.id, portfolio_id=visit.portfolio_id, visit=visit, body=body, answered_at=at)
