"""create_job, act_on_job, and settling jobs after a visit, a correction or a day that has passed."""

import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.alerts import services as alerts
from fleet.catalog import queries as catalog
from fleet.deficiencies.models import Deficiency
from fleet.errors import Fault, Refused
from fleet.jobs import acts as on_jobs
from fleet.jobs import evidence, job_grants, services, states, suggest, work
from fleet.jobs.models import Item, Job, JobAct
from fleet.pipeline.telling import record_and_tell
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler, Building, Position
from fleet.records.events import Cause, ChangeEvent
from fleet.rules.catalogue import Catalogue

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class JobRequest:
    """What a new job is to do: deficiencies to close, and procedures at positions."""

    deficiencies: Sequence[UUID] = ()
    procedures: Sequence[tuple[UUID, str]] = ()
    note: str = ""


@dataclass(slots=True)
class SettledJobs:
    """The result of settling the jobs of one portfolio: rows written, and the events."""

    written: int = 0
    events: list[ChangeEvent] = field(default_factory=list)


def create_job(*, building: UUID, request: JobRequest, by: User, at: datetime, cause: Cause | None = None) -> Job:
    """Make a job for one building out of deficiencies and procedures that one trip can do.

    Raises Refused with every fault in the request, and where it takes more than one trip.
    """
    cause = cause or Cause(who=by.get_username())
    house = Building.objects.filter(id=building).first()
    if house is None:
        raise Refused("unknown", "Not found.", status=404)
    with transaction.atomic():
        lock_boilers(Boiler.objects.filter(building=house).values_list("id", flat=True))
        release = catalog.catalogue_at(at)
        work_items = _requested_work(house, request, release, at)
        trip = _one_trip(work_items, release)
        job = services.add_job(
            building=house, trip=trip, items=_new_items(work_items, release), note=request.note, at=at
        )
        values = {"portfolio_id": job.portfolio_id, "acted_on": 0, "at": at, "reason": request.note}
        JobAct.objects.create(job=job, kind="created", by=by, request_id=cause.request_id, **values)
        sentence = f"A job is to be planned: {suggest.items_sentence(work_items, house.address)}"
        event = ChangeEvent(
            "job.created",
            job.id,
            boiler=work_items[0].boiler,
            before="",
            after=states.TO_PLAN,
            sentence=sentence,
            rule="",
            at=at,
            reason=request.note,
        )
        settle_and_record([job], [event], cause, at)
    return Job.objects.get(id=job.id)


def _requested_deficiencies(house: Building, request: JobRequest) -> Iterable[Deficiency]:
    deficiencies = Deficiency.objects.filter(id__in=request.deficiencies, boiler__building=house)
    return deficiencies.select_related("position")


def _requested_work(house: Building, request: JobRequest, release: Catalogue, at: datetime) -> list[work.WorkItem]:
    """Return the requested work. Raises Refused with every fault; what another open job asks already is a fault."""
    rows = {d.id: d for d in _requested_deficiencies(house, request)}
    places = {p.id: p for p in Position.objects.filter(id__in=[p for p, _ in request.procedures])}
    planned_codes = set(suggest.asked_already(house.id))
    work_items: list[work.WorkItem] = []
    faults: list[Fault] = []
    for n, id_ in enumerate(request.deficiencies):
        deficiency_work = _deficiency_work(rows.get(id_), release, at)
        _sort_request(
            deficiency_work, ("deficiencies", n), planned_codes=planned_codes, work_items=work_items, faults=faults
        )
    for n, (place, code) in enumerate(request.procedures):
        procedure_work = _procedure_work(places.get(place), code, house, release)
        _sort_request(
            procedure_work, ("procedures", n), planned_codes=planned_codes, work_items=work_items, faults=faults
        )
    if not (work_items or faults):
        faults.append(Fault("required", "Name a deficiency or a procedure.", ()))
    if faults:
        raise Refused.from_faults(faults, status=422)
    return work_items


def _sort_request(
    work_or_fault: work.WorkItem | Fault,
    place: tuple[str, int],
    planned_codes: set[tuple[UUID | None, UUID | None, str]],
    work_items: list[work.WorkItem],
    faults: list[Fault],
) -> None:
    if isinstance(work_or_fault, Fault):
        faults.append(Fault(work_or_fault.code, work_or_fault.message, (*place, *work_or_fault.at)))
        return
    key = (work_or_fault.deficiency, work_or_fault.position, work_or_fault.procedure)
    if key in planned_codes:
        faults.append(Fault("asked_already", "A job that is not over already includes this.", place))
    planned_codes.add(key)
    work_items.append(work_or_fault)


def _deficiency_work(row: Deficiency | None, release: Catalogue, at: datetime) -> work.WorkItem | Fault:
    if row is None:
        return Fault("unknown_deficiency", "Deficiency not found in this building.")
    if row.closed_at or row.withdrawn or row.opened_at > at:
        return Fault("not_open", f"This is {row.status}.")
    return suggest.work_of_deficiency(row, release, at)


def _procedure_work(position: Position | None, code: str, house: Building, release: Catalogue) -> work.WorkItem | Fault:
    boilers = Boiler.objects.filter(building=house)
    if position and position.header_group_id:
        boilers = boilers.filter(header_group=position.header_group_id)
    boiler = boilers.filter(id=position.boiler_id).first() if position and position.boiler_id else boilers.first()
    if position is None or boiler is None or (not position.boiler_id and not position.header_group_id):
        return Fault("unknown_position", "Position not found in this building.", ("position",))
    procedure = release.procedures.get(code)
    if procedure is None or not procedure.kinds & release.roles[position.role_id].kinds:
        return Fault("does_not_fit", f"{code!r} is no procedure of a {position.name}.", ("procedure",))
    sentence = f"{procedure.name} of the {position.name} is asked for."
    return work.WorkItem(boiler.id, position.id, deficiency=None, procedure=code, sentence=sentence, level="routine")


def _one_trip(work_items: Sequence[work.WorkItem], release: Catalogue) -> work.Trip:
    trips = work.group_trips(work_items, release)
    if len(trips) > 1:
        skills = ", ".join(t.skill for t in trips)
        raise Refused(
            "more_than_one_trip", f"This takes different people ({skills}). Make one job for each skill.", status=422
        )
    return trips[0]


def _new_items(work_items: Sequence[work.WorkItem], release: Catalogue) -> list[Item]:
    pairs = [(w.position, w.procedure) for w in work_items if w.position and not w.deficiency]
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
        for number, w in enumerate(work_items)
    ]


def act_on_job(
    *, job: UUID, decision: on_jobs.JobDecision, version: int, by: User, at: datetime, cause: Cause | None = None
) -> Job:
    """Record what somebody does about this `version` of a job, and give planned people access to the building.

    Raises Refused as `jobs.acts.refuse_decision` says.
    """
    cause = cause or Cause(who=by.get_username())
    boilers = list(Item.objects.filter(job=job).values_list("boiler", flat=True))
    if not boilers:
        raise Refused("unknown", "Not found.", status=404)
    with transaction.atomic():
        lock_boilers(boilers)
        row = Job.objects.select_related("building").select_for_update(no_key=True, of=("self",)).get(id=job)
        moment = max(at, row.judged_at)
        lapsed = services.update_jobs([row], moment)[0]  # its day may have passed since it was last settled
        before, people = row.status, {row.technician_id, row.second_id, decision.technician, decision.second}
        on_jobs.lock_people(people)
        on_jobs.refuse_decision(job=row, decision=decision, version=version, by=by, at=moment)
        act = on_jobs.record_act(job=row, decision=decision, by=by, at=moment, request_id=cause.request_id)
        events = [*lapsed.events, *_settle_and_collect([row], moment)]
        job_grants.settle_job_grants(people=people, building=row.building, at=moment)
        act_event = ChangeEvent(
            f"job.{act.kind}",
            row.id,
            boiler=boilers[0],
            before=before,
            after=row.status,
            sentence=_act_sentence(act, row),
            rule="",
            at=moment,
            reason=act.reason,
        )
        other_events = [n for n in events if n.kind != "job.changed" or n.after != row.status]
        record_and_tell(portfolio=row.portfolio_id, events=[act_event, *other_events], cause=cause, at=moment)
    return Job.objects.get(id=job)


def _act_sentence(act: JobAct, job: Job) -> str:
    items = list(Item.objects.filter(job=job).order_by("number"))
    return f"{on_jobs.act_sentence(act)} {services.job_sentence(job, items)}"


def _settle_and_collect(jobs: Sequence[Job], at: datetime) -> list[ChangeEvent]:
    """Settle jobs and their alerts, and return the events of both for the caller to record."""
    return [n for settled_jobs in _settle_by_portfolio(jobs, at).values() for n in settled_jobs.events]


def settle_and_record(jobs: Sequence[Job], events: Sequence[ChangeEvent], cause: Cause, at: datetime) -> None:
    """Settle locked jobs and their alerts, and record the given events with those that follow."""
    for portfolio, settled_jobs in _settle_by_portfolio(jobs, at).items():
        record_and_tell(portfolio=portfolio, events=[*events, *settled_jobs.events], cause=cause, at=at)


def _settle_by_portfolio(jobs: Sequence[Job], at: datetime) -> dict[UUID, SettledJobs]:
    """Make the rows of jobs equal to facts and acts, and their alerts to what holds; by portfolio."""
    by_portfolio: dict[UUID, SettledJobs] = {}
    for update in services.update_jobs(jobs, at):
        settled_jobs = by_portfolio.setdefault(update.job.portfolio_id, SettledJobs())
        settled_jobs.written += update.written
        settled_jobs.events += update.events
        if update.written or update.job.status not in states.OVER:
            reconciled = alerts.reconcile_job(
                portfolio=update.job.portfolio_id,
                job=update.job.id,
                conditions=update.conditions,
                at=max(at, update.job.judged_at),
            )
            settled_jobs.written += reconciled.written
            settled_jobs.events += reconciled.events
    return by_portfolio


def settle_jobs(buildings: Iterable[UUID], at: datetime) -> Mapping[UUID, SettledJobs]:
    """Settle the jobs of buildings whose boilers were just judged. Boilers must be locked, the pulse not yet."""
    return _settle_by_portfolio(services.lock_jobs_of(buildings), at)


def sweep_jobs(*, at: datetime, limit: int) -> int:
    """Settle the jobs whose next instant has passed, one per transaction; return how many."""
    waiting = Job.objects.filter(next_at__lte=at).order_by("next_at", "id").values_list("id", flat=True)[:limit]
    return sum(_advance_job(job, at) for job in list(waiting))


def _advance_job(job: UUID, at: datetime) -> int:
    """Settle one job. A failure is logged and stops no other job; the next sweep tries again."""
    rows = Job.objects.filter(id=job, next_at__lte=at).select_related("building")
    try:
        with transaction.atomic():
            due_jobs = list(rows.select_for_update(no_key=True, skip_locked=True, of=("self",)))
            settle_and_record(due_jobs, [], Cause(who="sweep"), at)
    except Exception:
        log.exception("job %s could not be brought on", job)
        return 0
    return len(due_jobs)
