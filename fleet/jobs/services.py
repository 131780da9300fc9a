"""Making jobs, and keeping their rows equal to what acts and evidence say."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.catalog import queries as catalog
from fleet.jobs import course, evidence, states, suggest, work
from fleet.jobs.course import JobStep
from fleet.jobs.models import Item, Job, JobAct
from fleet.portfolio.models import Building
from fleet.records.difference_store import as_json
from fleet.records.events import ChangeEvent
from fleet.rules.values import Condition

# What everybody sees of a job: a change of one of these fields is a new version.
VERSIONED_FIELDS = (
    "status",
    "technician_id",
    "second_id",
    "planned_since",
    "planned_until",
    "visit_id",
    "settled",
    "level",
)


@dataclass(frozen=True, slots=True)
class JobUpdate:
    """One job after its row was updated: whether it was written, its events, and its alert conditions."""

    job: Job
    written: bool
    events: Sequence[ChangeEvent]
    conditions: Sequence[Condition]


def lock_jobs_of(buildings: Iterable[UUID]) -> list[Job]:
    """Return the jobs of these buildings that evidence may still change, locked by ascending id, after every boiler."""
    jobs = Job.objects.filter(building__in=list(buildings)).exclude(status=states.CANCELLED)
    return list(jobs.select_related("building").order_by("id").select_for_update(no_key=True, of=("self",)))


def update_jobs(jobs: Sequence[Job], at: datetime) -> list[JobUpdate]:
    """Make locked jobs equal to what acts and evidence say, in a fixed number of queries (none for no jobs)."""
    if not jobs:
        return []
    items = evidence.items_of(jobs)
    acts: dict[UUID, list[JobAct]] = defaultdict(list)
    for act in JobAct.objects.filter(job__in=jobs).order_by("at", "acted_on"):
        acts[act.job_id].append(act)
    job_evidence = evidence.read_job_evidence(
        [i for job_items in items.values() for i in job_items], catalog.catalogue_at(at)
    )
    return [_update_job(job, items[job.id], acts=acts[job.id], job_evidence=job_evidence, at=at) for job in jobs]


def _update_job(
    job: Job, items: Sequence[Item], acts: Sequence[JobAct], job_evidence: evidence.JobEvidence, at: datetime
) -> JobUpdate:
    at = max(at, job.judged_at)  # the clock of a job never goes back
    settlements = {i.number: evidence.settlement_of(i, job_evidence) for i in items}
    settled_items = {number: s for number, s in settlements.items() if s is not None}
    facts = evidence.gather_job_facts(job, items, settled_items, job_evidence)
    steps = course.replay_job(facts, acts)
    classes = evidence.level_segments(items, job_evidence, job.created_at)
    conditions = course.job_conditions(facts, steps, classes=classes, sentence=job_sentence(job, items), at=at)
    step = course.step_at(steps, at)
    values = {**_row_values(step, facts.zone), "level": course.level_at(classes, at).value}
    values["settled"] = {str(n): as_json(s) for n, s in settled_items.items()}
    return _store_job(
        job,
        items,
        values=values,
        next_at=course.next_instant(steps, [*conditions, *classes], at),
        conditions=conditions,
        at=at,
    )


def _row_values(step: JobStep, zone: str) -> dict[str, object]:
    plan = step.plan
    return {
        "status": step.status,
        "status_since": step.since,
        "technician_id": plan.technician_id if plan else None,
        "second_id": plan.second_id if plan else None,
        "planned_since": plan.since if plan else None,
        "planned_until": plan.until if plan else None,
        "ends_at": course.end_of_day(plan.until, zone) if plan and plan.until else None,
        "visit_id": step.visit,
    }


def _store_job(
    job: Job,
    items: Sequence[Item],
    values: dict[str, object],
    next_at: datetime | None,
    conditions: list[Condition],
    at: datetime,
) -> JobUpdate:
    different = {name for name, value in {**values, "next_at": next_at}.items() if getattr(job, name) != value}
    before = job.status
    for name, value in {**values, "next_at": next_at}.items():
        setattr(job, name, value)
    if different:
        job.judged_at = at
        job.version += bool(different & {*VERSIONED_FIELDS})
        job.save(update_fields=[*different, "judged_at", "version"])
    events = [_status_event(job, items, before)] if job.status != before else []
    return JobUpdate(job, bool(different), events, conditions)


def _status_event(job: Job, items: Sequence[Item], before: str) -> ChangeEvent:
    sentence = f"{STATUS_SENTENCES[job.status]}: {job_sentence(job, items)}"
    return ChangeEvent(
        "job.changed",
        job.id,
        boiler=items[0].boiler_id,
        before=before,
        after=job.status,
        sentence=sentence,
        rule="",
        at=job.status_since,
    )


STATUS_SENTENCES = {
    states.TO_PLAN: "A job is to be planned",
    states.ASKED: "Somebody is asked to do a job",
    states.PLANNED: "A job is planned",
    states.ACCEPTED: "A job is accepted",
    states.STARTED: "A job is started",
    states.DECLINED: "A job was declined",
    states.MISSED: "A job is past its day and comes back",
    states.BACK: "A job comes back with something open",
    states.PROVEN: "A job is proven",
    states.ANSWERED: "A call was answered by a visit",
    states.NOT_NEEDED: "A job is not needed any more",
    states.CANCELLED: "A job is cancelled",
}


def job_sentence(job: Job, items: Sequence[Item]) -> str:
    """Return a job in one sentence."""
    return suggest.items_sentence(items, job.building.address)


def add_job(*, building: Building, trip: work.Trip, items: Sequence[Item], note: str, at: datetime) -> Job:
    """Write a job with its items, which are not saved yet."""
    job = Job.objects.create(
        portfolio_id=building.portfolio_id,
        building=building,
        created_at=at,
        note=note,
        minutes=trip.minutes,
        people=trip.people,
        skills=sorted({trip.skill}),
        parts=list(trip.parts),
        level=trip.level,
        status_since=at,
        judged_at=at,
    )
    for item in items:
        item.job, item.portfolio_id = job, job.portfolio_id
    Item.objects.bulk_create(items)
    return job
