"""Job slips: a planned, changed or cancelled job reaches its people at once, and again the evening before."""

import hashlib
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from fleet.accounts.models import User
from fleet.calendar import day_of
from fleet.jobs import states
from fleet.jobs.models import Item, Job
from fleet.notices.call_list.recipients import people_with_address
from fleet.notices.models import Notice
from fleet.notices.outbox import NoticeDraft, add_notice
from fleet.notices.writing.slip_text import SlipJob, write_evening_slip, write_slip

EVENING_HOUR = 18  # local; from then on the jobs of the next day are told again
CHANGE_KINDS = frozenset({"job.plan", "job.ask", "job.decline", "job.withdraw", "job.cancel", "job.changed"})


def tell_jobs(*, jobs: Collection[UUID], at: datetime) -> int:
    """Tell the people of these jobs what is new for each of them; return how many notices.

    Compared with what each was told last, so a pass that runs twice tells once. Whoever has a job no longer is told,
    too. Jobs that are over because their work is proven are told to nobody: their people know.
    """
    rows = Job.objects.filter(id__in=list(jobs)).select_related("building", "technician", "second")
    notice_count = 0
    for job in rows:
        told_states = _last_told(job)
        holders = [person for person in (job.technician, job.second) if person] if _is_held(job) else []
        reachable = people_with_address([*(p.id for p in holders), *told_states], at)
        for person in holders:
            if person.id in reachable and told_states.get(person.id) != _state_of(job):
                notice_count += _add_slip(job, person, "changed" if person.id in told_states else "planned", at)
        if job.status not in (states.PROVEN, states.ANSWERED, states.STARTED, states.BACK, states.MISSED):
            former_holders = [
                user for user, state in told_states.items() if state != "none" and user not in {p.id for p in holders}
            ]
            for person in User.objects.filter(id__in=[user for user in former_holders if user in reachable]):
                notice_count += _add_slip(job, person, "cancelled", at)
    return notice_count


def _is_held(job: Job) -> bool:
    return job.status in states.DATED


def _state_of(job: Job) -> str:
    words = (job.planned_since, job.planned_until, job.technician_id, job.second_id)
    return hashlib.sha256("|".join(map(str, words)).encode()).hexdigest()[:24]


def _last_told(job: Job) -> dict[UUID, str]:
    """Return what each person was last told of a job."""
    rows = Notice.objects.filter(portfolio=job.portfolio_id, kind="slip", data__job=str(job.id)).order_by("created_at")
    return {row.user_id: str(row.data.get("state", "")) for row in rows}


def _add_slip(job: Job, person: User, change: str, at: datetime) -> int:
    told_states = SlipJob.of(job, list(Item.objects.filter(job=job).order_by("number")), person)
    text = write_slip(told_states, change)
    state = "none" if change == "cancelled" else _state_of(job)
    draft = NoticeDraft(
        job.portfolio_id,
        person,
        kind="slip",
        key=f"slip {job.id} {person.id} {state} {job.version}",
        level=job.level,
        subject=text.subject,
        text=text.text,
        html=text.html,
        data={"job": str(job.id), "state": state, "change": change, **told_states.as_json()},
        building=job.building_id,
        zone=job.building.zone,
    )
    add_notice(draft, at)
    return 1


def tell_tomorrow(*, portfolio: UUID, at: datetime) -> int:
    """Tell each technician in the evening what stands planned for the next day, once; return how many notices."""
    soon = Job.objects.filter(
        portfolio=portfolio,
        status__in=states.DATED,
        planned_since__gt=at,
        planned_since__lte=at + timedelta(hours=32),
    )
    by_person: dict[tuple[User, date, str], list[Job]] = defaultdict(list)  # an evening of each zone
    for job in soon.select_related("building", "technician", "second").order_by("planned_since", "id"):
        tomorrow = day_of(at, job.building.zone) + timedelta(days=1)
        is_evening = at.astimezone(ZoneInfo(job.building.zone)).hour >= EVENING_HOUR
        if job.planned_since and is_evening and day_of(job.planned_since, job.building.zone) == tomorrow:
            for person in filter(None, (job.technician, job.second)):
                by_person[person, tomorrow, job.building.zone].append(job)
    reachable = people_with_address({person.id for person, _, _ in by_person}, at)
    return sum(
        _add_evening(person, day, zone=zone, jobs=jobs, at=at)
        for (person, day, zone), jobs in by_person.items()
        if person.id in reachable
    )


def _add_evening(person: User, day: date, *, zone: str, jobs: Sequence[Job], at: datetime) -> int:
    key = f"evening {jobs[0].portfolio_id} {person.id} {day.isoformat()} {zone}"
    if Notice.objects.filter(key=key).exists():
        return 0
    items = _items_by_job(jobs)
    text = write_evening_slip([SlipJob.of(job, items[job.id], person) for job in jobs], day)
    draft = NoticeDraft(
        jobs[0].portfolio_id,
        person,
        kind="evening",
        key=key,
        level="routine",
        subject=text.subject,
        text=text.text,
        html=text.html,
        data={"jobs": [str(job.id) for job in jobs], "day": day.isoformat()},
        zone=zone,
    )
    add_notice(draft, at)
    return 1


def _items_by_job(jobs: Iterable[Job]) -> dict[UUID, list[Item]]:
    by_job: dict[UUID, list[Item]] = defaultdict(list)
    for item in Item.objects.filter(job__in=[job.id for job in jobs]).order_by("number"):
        by_job[item.job_id].append(item)
    return by_job
