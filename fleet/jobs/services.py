"""Making jobs, and keeping their rows equal to what acts and evidence say."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.jobs import course, evidence, states, suggest, work
from fleet.jobs.course import Step
from fleet.jobs.models import Act, Item, Job
from fleet.portfolio.conclusions import plain
from fleet.portfolio.models import Building
from fleet.portfolio.news import News
from fleet.rules.values import Condition

# What everybody sees of a job: a change of one of these fields is a new version.
SEEN = ("status", "technician_id", "second_id", "planned_since", "planned_until", "visit_id", "settled", "level")


@dataclass(frozen=True, slots=True)
class Kept:
    """One job after its row was updated: whether it was written, its events, and its alert conditions."""

    job: Job
    written: bool
    news: Sequence[News]
    conditions: Sequence[Condition]


def locked_of(buildings: Iterable[UUID]) -> list[Job]:
    """Return the jobs of these buildings that evidence may still change, locked by ascending id, after every boiler."""
    found = Job.objects.filter(building__in=list(buildings)).exclude(status=states.CANCELLED)
    return list(found.select_related("building").order_by("id").select_for_update(no_key=True, of=("self",)))


def keep(jobs: Sequence[Job], at: datetime) -> list[Kept]:
    """Make locked jobs equal to what acts and evidence say, in a fixed number of queries (none for no jobs)."""
    if not jobs:
        return []
    items = evidence.items_of(jobs)
    acts: dict[UUID, list[Act]] = defaultdict(list)
    for act in Act.objects.filter(job__in=jobs).order_by("at", "acted_on"):
        acts[act.job_id].append(act)
    known = evidence.read([i for own in items.values() for i in own], suggest.release_at(at))
    return [_one(job, items[job.id], acts[job.id], known, at) for job in jobs]


def _one(job: Job, items: Sequence[Item], acts: Sequence[Act], known: evidence.Known, at: datetime) -> Kept:
    at = max(at, job.judged_at)  # the clock of a job never goes back
    found = {i.number: evidence.settlement(i, known) for i in items}
    settled = {number: s for number, s in found.items() if s is not None}
    facts = evidence.facts(job, items, settled, known)
    steps = course.course(facts, acts)
    classes = evidence.classes(items, known, job.created_at)
    told = course.conditions(facts, steps, classes, line(job, items), at)
    now = course.at_instant(steps, at)
    values = {**_values(now, facts.zone), "level": course.level_at(classes, at).value}
    values["settled"] = {str(n): plain(s) for n, s in settled.items()}
    return _store(job, items, values, course.next_instant(steps, [*told, *classes], at), told, at)


def _values(now: Step, zone: str) -> dict[str, Any]:
    plan = now.plan
    return {
        "status": now.status,
        "status_since": now.since,
        "technician_id": plan.technician_id if plan else None,
        "second_id": plan.second_id if plan else None,
        "planned_since": plan.since if plan else None,
        "planned_until": plan.until if plan else None,
        "ends_at": course.end_of_day(plan.until, zone) if plan and plan.until else None,
        "visit_id": now.visit,
    }


def _store(
    job: Job,
    items: Sequence[Item],
    values: dict[str, Any],
    next_at: datetime | None,
    told: list[Condition],
    at: datetime,
) -> Kept:
    different = {name for name, value in {**values, "next_at": next_at}.items() if getattr(job, name) != value}
    before = job.status
    for name, value in {**values, "next_at": next_at}.items():
        setattr(job, name, value)
    if different:
        job.judged_at = at
        job.version += bool(different & {*SEEN})
        job.save(update_fields=[*different, "judged_at", "version"])
    news = [_moved(job, items, before)] if job.status != before else []
    return Kept(job, bool(different), news, told)


def _moved(job: Job, items: Sequence[Item], before: str) -> News:
    what = f"{TOLD[job.status]}: {line(job, items)}"
    return News("job.changed", job.id, items[0].boiler_id, before, job.status, what, "", job.status_since)


TOLD = {
    states.TO_PLAN: "A job is to be planned",
    states.PLANNED: "A job is planned",
    states.ACCEPTED: "A job is accepted",
    states.STARTED: "A job is started",
    states.DECLINED: "A job was declined",
    states.MISSED: "A job is past its day and comes back",
    states.BACK: "A job comes back with something open",
    states.PROVEN: "A job is proven",
    states.NOT_NEEDED: "A job is not needed any more",
    states.CANCELLED: "A job is cancelled",
}


def line(job: Job, items: Sequence[Item]) -> str:
    """Return a job in one sentence."""
    return suggest.sentence(items, job.building.address)


def add(*, building: Building, trip: work.Trip, items: Sequence[Item], note: str, at: datetime) -> Job:
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
