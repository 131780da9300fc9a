"""create_job, act_on_job, and settling jobs after a visit, a correction or a day that has passed."""

import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.alerts import services as alerts
from fleet.board import services as board
from fleet.deficiencies.models import Deficiency
from fleet.errors import Fault, Refused
from fleet.jobs import acts as on_jobs
from fleet.jobs import evidence, reach, services, states, suggest, work
from fleet.jobs.models import Act, Item, Job
from fleet.portfolio.locks import lock
from fleet.portfolio.models import Boiler, Building, Position
from fleet.portfolio.news import Cause, News
from fleet.rules.catalogue import Catalogue

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a new job is to do: deficiencies to close, and procedures at positions."""

    deficiencies: Sequence[UUID] = ()
    procedures: Sequence[tuple[UUID, str]] = ()
    note: str = ""


@dataclass(slots=True)
class Settled:
    """The result of settling the jobs of one portfolio: rows written, and the events."""

    written: int = 0
    news: list[News] = field(default_factory=list)


def create_job(*, building: UUID, asked: Asked, by: User, at: datetime, cause: Cause | None = None) -> Job:
    """Make a job for one building out of deficiencies and procedures that one trip can do.

    Raises Refused with every fault in the request, and where it takes more than one trip.
    """
    cause = cause or Cause(who=by.get_username())
    house = Building.objects.filter(id=building).first()
    if house is None:
        raise Refused("unknown", "There is no such thing.", status=404)
    with transaction.atomic():
        lock(Boiler.objects.filter(building=house).values_list("id", flat=True))
        release = suggest.release_at(at)
        wanted = _wanted(house, asked, release, at)
        trip = _one_trip(wanted, release)
        job = services.add(building=house, trip=trip, items=_items(wanted, release), note=asked.note, at=at)
        values = {"portfolio_id": job.portfolio_id, "acted_on": 0, "at": at, "reason": asked.note}
        Act.objects.create(job=job, kind="created", by=by, request_id=cause.request_id, **values)
        told = f"A job is to be planned: {suggest.sentence(wanted, house.address)}"
        news = News("job.created", job.id, wanted[0].boiler, "", states.TO_PLAN, told, "", at, asked.note)
        _stamped([job], [news], cause, at)
    return Job.objects.get(id=job.id)


def _deficiencies(house: Building, asked: Asked) -> Iterable[Deficiency]:
    found = Deficiency.objects.filter(id__in=asked.deficiencies, boiler__building=house)
    return found.select_related("position")


def _wanted(house: Building, asked: Asked, release: Catalogue, at: datetime) -> list[work.Wanted]:
    """Return the requested work. Raises Refused with every fault; what another open job asks already is a fault."""
    rows = {d.id: d for d in _deficiencies(house, asked)}
    places = {p.id: p for p in Position.objects.filter(id__in=[p for p, _ in asked.procedures])}
    taken = set(suggest.asked_already(house.id))
    wanted: list[work.Wanted] = []
    faults: list[Fault] = []
    for n, id_ in enumerate(asked.deficiencies):
        found = _deficient(rows.get(id_), release, at)
        _sort(found, ("deficiencies", n), taken, wanted, faults)
    for n, (place, code) in enumerate(asked.procedures):
        done = _procedure(places.get(place), code, house, release)
        _sort(done, ("procedures", n), taken, wanted, faults)
    if not (wanted or faults):
        faults.append(Fault("required", "Name a deficiency or a procedure.", ()))
    if faults:
        raise Refused.all(faults, status=422)
    return wanted


def _sort(
    found: work.Wanted | Fault,
    place: tuple[str, int],
    taken: set[tuple[UUID | None, UUID | None, str]],
    wanted: list[work.Wanted],
    faults: list[Fault],
) -> None:
    if isinstance(found, Fault):
        faults.append(Fault(found.code, found.message, (*place, *found.at)))
        return
    key = (found.deficiency, found.position, found.procedure)
    if key in taken:
        faults.append(Fault("asked_already", "A job that is not over asks for this.", place))
    taken.add(key)
    wanted.append(found)


def _deficient(row: Deficiency | None, release: Catalogue, at: datetime) -> work.Wanted | Fault:
    if row is None:
        return Fault("unknown_deficiency", "No such deficiency in this building.")
    if row.closed_at or row.withdrawn or row.opened_at > at:
        return Fault("not_open", f"This is {row.status}.")
    return suggest.of_deficiency(row, release, at)


def _procedure(position: Position | None, code: str, house: Building, release: Catalogue) -> work.Wanted | Fault:
    boilers = Boiler.objects.filter(building=house)
    if position and position.header_group_id:
        boilers = boilers.filter(header_group=position.header_group_id)
    boiler = boilers.filter(id=position.boiler_id).first() if position and position.boiler_id else boilers.first()
    if position is None or boiler is None or (not position.boiler_id and not position.header_group_id):
        return Fault("unknown_position", "No such position in this building.", ("position",))
    procedure = release.procedures.get(code)
    if procedure is None or not procedure.kinds & release.roles[position.role_id].kinds:
        return Fault("does_not_fit", f"{code!r} is no procedure of a {position.name}.", ("procedure",))
    told = f"{procedure.name} of the {position.name} is asked for."
    return work.Wanted(boiler.id, position.id, None, code, told, "routine")


def _one_trip(wanted: Sequence[work.Wanted], release: Catalogue) -> work.Trip:
    found = work.trips(wanted, release)
    if len(found) > 1:
        skills = ", ".join(t.skill for t in found)
        raise Refused("more_than_one_trip", f"This takes different people ({skills}): make a job each.", status=422)
    return found[0]


def _items(wanted: Sequence[work.Wanted], release: Catalogue) -> list[Item]:
    pairs = [(w.position, w.procedure) for w in wanted if w.position and not w.deficiency]
    since = evidence.newest_passes(pairs, release)
    return [
        Item(
            number=number,
            boiler_id=w.boiler,
            position_id=w.position,
            deficiency_id=w.deficiency,
            procedure=w.procedure,
            sentence=w.sentence,
            level=w.level,
            since=since.get((w.position, w.procedure)) if w.position and not w.deficiency else None,
        )
        for number, w in enumerate(wanted)
    ]


def act_on_job(
    *, job: UUID, decision: on_jobs.Decision, version: int, by: User, at: datetime, cause: Cause | None = None
) -> Job:
    """Record what somebody does about this `version` of a job, and give planned people access to the building.

    Raises Refused as `jobs.acts.refuse_decision` says.
    """
    cause = cause or Cause(who=by.get_username())
    boilers = list(Item.objects.filter(job=job).values_list("boiler", flat=True))
    if not boilers:
        raise Refused("unknown", "There is no such thing.", status=404)
    with transaction.atomic():
        lock(boilers)
        row = Job.objects.select_related("building").select_for_update(no_key=True, of=("self",)).get(id=job)
        moment = max(at, row.judged_at)
        lapsed = services.keep([row], moment)[0]  # its day may have passed since it was last settled
        before, held = row.status, (row.technician_id, row.second_id)
        people = {*held, decision.technician, decision.second}
        on_jobs.lock_people(people)
        on_jobs.refuse(job=row, decision=decision, version=version, by=by, at=moment)
        act = on_jobs.record(job=row, decision=decision, by=by, at=moment, request_id=cause.request_id)
        news = [*lapsed.news, *_stamped_later([row], moment)]
        reach.settle(people=people, building=row.building, at=moment)
        own = News(f"job.{act.kind}", row.id, boilers[0], before, row.status, _told(act, row), "", moment, act.reason)
        moved = [n for n in news if n.kind != "job.changed" or n.after != row.status]
        board.stamp(portfolio=row.portfolio_id, news=[own, *moved], cause=cause, at=moment)
    return Job.objects.get(id=job)


def _told(act: Act, job: Job) -> str:
    items = list(Item.objects.filter(job=job).order_by("number"))
    return f"{on_jobs.sentence(act)} {services.line(job, items)}"


def _stamped_later(jobs: Sequence[Job], at: datetime) -> list[News]:
    """Settle jobs and their alerts, and return the events of both for the caller to record."""
    return [n for settled in _kept(jobs, at).values() for n in settled.news]


def _stamped(jobs: Sequence[Job], news: Sequence[News], cause: Cause, at: datetime) -> None:
    for portfolio, settled in _kept(jobs, at).items():
        board.stamp(portfolio=portfolio, news=[*news, *settled.news], cause=cause, at=at)


def _kept(jobs: Sequence[Job], at: datetime) -> dict[UUID, Settled]:
    """Make the rows of jobs equal to facts and acts, and their alerts to what holds; by portfolio."""
    found: dict[UUID, Settled] = {}
    for kept in services.keep(jobs, at):
        own = found.setdefault(kept.job.portfolio_id, Settled())
        own.written += kept.written
        own.news += kept.news
        if kept.written or kept.job.status not in states.OVER:
            told = alerts.reconcile_job(
                portfolio=kept.job.portfolio_id,
                job=kept.job.id,
                conditions=kept.conditions,
                at=max(at, kept.job.judged_at),
            )
            own.written += told.written
            own.news += told.news
    return found


def settle_jobs(buildings: Iterable[UUID], at: datetime) -> Mapping[UUID, Settled]:
    """Settle the jobs of buildings whose boilers were just judged. Boilers must be locked, the pulse not yet."""
    return _kept(services.locked_of(buildings), at)


def sweep_jobs(*, at: datetime, limit: int) -> int:
    """Settle the jobs whose next instant has passed, one per transaction; return how many."""
    waiting = Job.objects.filter(next_at__lte=at).order_by("next_at", "id").values_list("id", flat=True)[:limit]
    return sum(_step(job, at) for job in list(waiting))


def _step(job: UUID, at: datetime) -> int:
    """Settle one job. A failure is logged and stops no other job; the next sweep tries again."""
    rows = Job.objects.filter(id=job, next_at__lte=at).select_related("building")
    try:
        with transaction.atomic():
            found = list(rows.select_for_update(no_key=True, skip_locked=True, of=("self",)))
            _stamped(found, [], Cause(who="sweep"), at)
    except Exception:
        log.exception("job %s could not be brought on", job)
        return 0
    return len(found)
