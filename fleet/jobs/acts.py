"""What people do about a job: an act is checked against the job's present status and then added, never changed."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts.grants import belongs_to_portfolio, note_asked
from fleet.accounts.models import Grant, User
from fleet.accounts.people import qualification_codes_at
from fleet.calendar import day_of, day_start
from fleet.errors import Fault, Refused
from fleet.jobs import states
from fleet.jobs.consent import agreed_jobs, has_agreed
from fleet.jobs.models import Job, JobAct
from fleet.portfolio.access import is_accessible
from fleet.records.row_spans import not_ended
from fleet.records.versioned_acts import add_act

ASSIGNEE_KINDS = ("accept", "join", "decline", "start")
REASONED_KINDS = ("decline", "withdraw", "cancel")
SENTENCES = {
    "plan": "Planned for {who} on {since:%a %d %b %Y %H:%M} UTC.",
    "ask": "{who} of another portfolio asked for {since:%a %d %b %Y %H:%M} UTC.",
    "accept": "Accepted.",
    "join": "The second person comes along.",
    "decline": "Declined.",
    "start": "Started.",
    "withdraw": "The plan is taken back.",
    "cancel": "Cancelled.",
}


@dataclass(frozen=True, slots=True)
class JobDecision:
    """A requested act on a job. `kind` is plan, accept, join, decline, start, withdraw or cancel."""

    kind: str
    reason: str = ""
    technician: UUID | None = None
    second: UUID | None = None
    since: datetime | None = None


def plan_end(job: Job, decision: JobDecision) -> datetime | None:
    """Return when a plan ends: its start plus the job's minutes; None without a start."""
    return decision.since + timedelta(minutes=job.minutes) if decision.since else None


def refuse_decision(*, job: Job, decision: JobDecision, version: int, by: User, at: datetime) -> None:
    """Raise Refused unless this may be recorded. The people concerned must be locked.

    Whoever accepts what they were asked for must be free then, too: meanwhile somebody may have planned them.

    In this order: 412 for a stale version, 409 where the act may not follow, 403 where the job is somebody else's,
    409 on the wrong day, 422 with all faults, 409 where a person is planned elsewhere. The locks make the second of
    two plans for one person see the first.
    """
    if job.version != version:
        raise Refused("stale", f"This has changed. It is now at version {job.version}.", ("version",), status=412)
    if states.status_after(job.status, decision.kind) is None:
        message = f"This job is {job.status.replace('_', ' ')}: {decision.kind} is not possible now."
        raise Refused("not_now", message, status=409)
    if decision.kind in ASSIGNEE_KINDS and by.id not in _who_may_answer(job, decision):
        raise Refused("not_yours", "This job is planned for somebody else.", status=403)
    if decision.kind == "start" and not _is_on_its_day(job, at):
        raise Refused("not_its_day", "A job can be started only on the day it is planned for.", status=409)
    if decision.kind == "join" or (decision.kind == "accept" and job.status == states.ASKED):
        decision = JobDecision("plan", technician=job.technician_id, second=job.second_id, since=job.planned_since)
    faults = list(_decision_faults(job, decision, at))
    if faults:
        raise Refused.from_faults(faults, status=422)
    if decision.kind == "plan" and (busy := fields_of_busy_people(job, decision, at)):
        raise Refused.from_faults(
            [Fault("elsewhere_then", "This person is planned for another job at that time.", (p,)) for p in busy],
            status=409,
        )


def _who_may_answer(job: Job, decision: JobDecision) -> tuple[UUID | None, ...]:
    """Return the planned technician; either of two people may say that they cannot come."""
    if decision.kind == "join":
        return (job.second_id,)
    return (job.technician_id, job.second_id) if decision.kind == "decline" else (job.technician_id,)


def _is_on_its_day(job: Job, at: datetime) -> bool:
    assert job.planned_since
    assert job.ends_at
    return day_start(day_of(job.planned_since, job.building.zone), job.building.zone) <= at < job.ends_at


def _decision_faults(job: Job, decision: JobDecision, at: datetime) -> Iterator[Fault]:
    if decision.kind in REASONED_KINDS and not decision.reason.strip():
        yield Fault("required", "Give the reason in a sentence.", ("reason",))
    if decision.kind == "plan":
        yield from _time_faults(job, decision, at)
        yield from _people_faults(job, decision, at)


def _time_faults(job: Job, decision: JobDecision, at: datetime) -> Iterator[Fault]:
    end = plan_end(job, decision)
    if decision.since is None or end is None:
        yield Fault("required", "Enter the date and time when it begins.", ("start",))
    elif decision.since < at:
        yield Fault("in_the_past", f"This is before the server's time, {at.isoformat()}.", ("start",))
    elif not is_accessible(job.building.access_hours, job.building.zone, decision.since, end):
        message = f"The job takes {job.minutes} minutes. The building can be entered {job.building.access_hours}."
        yield Fault("outside_access_hours", message, ("start",))


def _people_faults(job: Job, decision: JobDecision, at: datetime) -> Iterator[Fault]:
    first, second = decision.technician, decision.second
    moment = max(decision.since or at, at)
    if first is None or not _is_known_person(first, job, moment):
        yield Fault("unknown_person", "Person not found.", ("to",))
    elif missing := sorted(set(job.skills) - qualification_codes_at(job.portfolio_id, first, moment)):
        yield Fault("not_qualified", f"Not qualified at that time: {', '.join(missing)}.", ("to",))
    if job.people > 1 and second is None:
        yield Fault("required", "This work takes two people. Name the second one.", ("with",))
    elif second is not None and second == first:
        yield Fault("same_person", "The second person must be somebody else.", ("with",))
    elif second is not None and not _is_known_person(second, job, moment):
        yield Fault("unknown_person", "Person not found.", ("with",))


def _is_known_person(person: UUID, job: Job, at: datetime) -> bool:
    """Whether a person has a grant here or is a qualified technician. Anybody else is refused like an unknown id."""
    grants_here = Grant.objects.filter(
        not_ended(at),
        Q(building=None) | Q(building=job.building_id),
        user=person,
        user__is_active=True,
        portfolio=job.portfolio_id,
    )
    active = User.objects.filter(id=person, is_active=True)
    return grants_here.exists() or (
        active.exists() and "technician" in qualification_codes_at(job.portfolio_id, person, at)
    )


def lock_people(people: Iterable[UUID | None]) -> None:
    """Lock the people an act names or frees, by ascending id, after the job: plans for one person are serialized."""
    ids = sorted({p for p in people if p})
    list(User.objects.filter(id__in=ids).order_by("id").select_for_update(no_key=True).values_list("id"))


def fields_of_busy_people(job: Job, decision: JobDecision, at: datetime) -> list[str]:
    """Return the fields ("to", "with") of people who are planned for another job then. The people must be locked."""
    people_by_field = {"to": decision.technician, "with": decision.second}
    other_jobs = Job.objects.filter(
        status__in=states.HELD_STATUSES,
        ends_at__gt=at,
        planned_since__lt=plan_end(job, decision),
        planned_until__gt=decision.since,
    ).exclude(id=job.id)
    return [place for place, person in people_by_field.items() if person and _is_busy(other_jobs, person)]


def _is_busy(jobs: QuerySet[Job], person: UUID) -> bool:
    """Whether one of these jobs is a person's. What somebody has not agreed to holds nobody's day."""
    return bool(agreed_jobs(jobs.filter(Q(technician=person) | Q(second=person)), person))


def record_act(*, job: Job, decision: JobDecision, by: User, at: datetime, request_id: str) -> JobAct:
    """Add a checked act and give the job its next version."""
    act = JobAct(
        job=job,
        kind="ask" if _asks_first(job, decision, at) else decision.kind,
        at=at,
        by=by,
        technician_id=decision.technician,
        second_id=decision.second,
        since=decision.since,
        until=plan_end(job, decision),
        reason=decision.reason,
        request_id=request_id,
        asks_people=True,
    )
    add_act(act, job)
    if decision.kind == "plan":
        note_asked(_people_to_ask(job, act))
    return act


def _asks_first(job: Job, decision: JobDecision, at: datetime) -> bool:
    """Whether a plan is for a technician of another portfolio, who has to say yes before anything begins."""
    technician, moment = decision.technician, max(decision.since or at, at)
    return bool(
        decision.kind == "plan" and technician and not belongs_to_portfolio(technician, job.portfolio_id, moment)
    )


def _people_to_ask(job: Job, plan: JobAct) -> list[UUID]:
    """Return whom a new plan waits for: those whom it names and who have not agreed by belonging to the portfolio."""
    people = [person for person in (plan.technician_id, plan.second_id) if person]
    return [person for person in people if not has_agreed(job, person, [plan])]


def act_sentence(act: JobAct) -> str:
    """Return what was done, in one sentence."""
    people = " with ".join(p.get_username() for p in (act.technician, act.second) if p)
    return SENTENCES[act.kind].format(who=people, since=act.since)
