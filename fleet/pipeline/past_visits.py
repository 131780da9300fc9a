"""post_past_visits: post a boiler's past together. Each visit keeps its posting time; the boiler is judged once."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from uuid import UUID

from fleet.accounts.models import User
from fleet.errors import Fault, Refused
from fleet.pipeline import corrections
from fleet.pipeline.answer import store_answers
from fleet.pipeline.boiler_registers import read_boiler_register
from fleet.pipeline.conclude import write_and_conclude
from fleet.pipeline.papers_of_others import repeated_paper_faults, repeated_papers_of_load
from fleet.portfolio.models import Boiler
from fleet.records.events import Cause
from fleet.visits import services
from fleet.visits.check import BoilerRegister, visit_faults
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Visit
from fleet.visits.services import NewVisit


@dataclass(frozen=True, slots=True)
class PastVisit:
    """A visit, who posted it (None: the site itself), and when."""

    visit: IncomingVisit
    by: User | None
    posted_at: datetime


def post_past_visits(posts: Sequence[PastVisit], *, at: datetime, cause: Cause) -> int:
    """Post past visits of boilers in the order they were posted; return how many visits were written.

    Every visit is checked as by its own post. A correction is checked after the visit it corrects is written. An id
    that is known already is refused, even with the same content. Raises Refused with the faults of all visits and
    writes nothing. Answers give the standing before the first visit and after the last, as of `at`.
    """

    def write_facts(boilers: list[Boiler]) -> list[Visit]:
        return _add_past_visits(posts, {b.id: b for b in boilers})

    boilers = {p.visit.boiler for p in posts}
    return len(
        write_and_conclude(
            boilers=boilers,
            at=at,
            cause=cause,
            write_facts=write_facts,
            describe_events=corrections.correction_events,
            after_judging=partial(store_answers, at=at),
        )
    )


def _add_past_visits(posts: Sequence[PastVisit], boilers: Mapping[UUID, Boiler]) -> list[Visit]:
    registers = {b.id: _boiler_register(b, posts) for b in boilers.values()}
    known_ids = set(Visit.objects.filter(id__in=[p.visit.id for p in posts]).values_list("id", flat=True))
    faults = [
        Fault(f.code, f.message, (n, *f.at))
        for n, p in enumerate(posts)
        for f in _past_visit_faults(p, registers, known_ids)
    ]
    faults += repeated_papers_of_load([p.visit for p in posts])
    if faults:
        raise Refused.from_faults(faults, status=422)
    first = [p for p in posts if p.visit.corrects is None]
    return _write_visits(first, boilers) + _write_corrections([p for p in posts if p.visit.corrects], boilers)


def _write_visits(posts: Sequence[PastVisit], boilers: Mapping[UUID, Boiler]) -> list[Visit]:
    return services.add_visits([NewVisit(p.visit, boilers[p.visit.boiler], p.posted_at, p.by) for p in posts])


def _write_corrections(posts: Sequence[PastVisit], boilers: Mapping[UUID, Boiler]) -> list[Visit]:
    """Check and write corrections one after another: each may correct the one before."""
    visits: list[Visit] = []
    for post in posts:
        boiler = boilers[post.visit.boiler]
        faults = list(corrections.correction_faults(post.visit, boiler, post.by, post.posted_at))
        if faults:
            raise Refused.from_faults(faults, status=422)
        visits += _write_visits([post], boilers)
    return visits


def _past_visit_faults(
    post: PastVisit, registers: Mapping[UUID, BoilerRegister], known_ids: set[UUID]
) -> Iterator[Fault]:
    register = registers.get(post.visit.boiler)
    if post.visit.id in known_ids:
        yield Fault("id_taken", "This visit is already on record.", ("id",))
    if register is None:
        yield Fault("unknown_boiler", "Boiler not found.", ("boiler",))
    else:
        yield from visit_faults(post.visit, register, post.posted_at)
        yield from repeated_paper_faults(post.visit)


def _boiler_register(boiler: Boiler, posts: Sequence[PastVisit]) -> BoilerRegister:
    """Read what exists at the boiler by the catalogue at the newest posting time."""
    boiler_posts = [p for p in posts if p.visit.boiler == boiler.id]
    newest = max((p.posted_at for p in boiler_posts), default=boiler.since)
    return read_boiler_register(boiler, [p.visit for p in boiler_posts], newest)
