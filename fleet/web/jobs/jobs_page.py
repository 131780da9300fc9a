"""Jobs by day and technician: jobs to plan, planned jobs, and the forms to plan, accept, start, decline and cancel."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import Grant, User
from fleet.accounts.people import active_users_of
from fleet.accounts.requests import cause_of, user_of
from fleet.calendar import day_of
from fleet.deficiencies import queries as deficiencies
from fleet.jobs import queries, states
from fleet.jobs.acts import JobDecision
from fleet.jobs.models import Job, JobAct
from fleet.records.row_spans import not_ended
from fleet.rules.values import Level
from fleet.web.shared.local_times import parse_local_instant
from fleet.web.shared.pages import signed_in_action, signed_in_page
from fleet.web.shared.write_attempts import attempt_write, parse_version

LEVEL_RANKS = {level.value: rank for rank, level in enumerate(Level)}  # 0 the worst
LATE_STATUSES = (states.MISSED, states.BACK)  # was assigned, and is not done
OVER_VISIBLE_FOR = timedelta(days=7)  # how long finished jobs stay on the page
REASONED_ACTIONS = ("decline", "withdraw", "cancel")
ACTIONS = {
    "plan": "job.plan",
    "withdraw": "job.plan",
    "cancel": "job.cancel",
    **dict.fromkeys(("accept", "decline", "start"), "job.answer"),
}


@dataclass(frozen=True, slots=True)
class RefusedAction:
    """What somebody tried to do about a job, why it was refused, and what was typed."""

    job: UUID
    kind: str
    faults: tuple[str, ...]
    texts: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class JobSlip:
    """One job on the page, what this user may do about it now, and the faults of the last attempt."""

    details: queries.JobDetail
    may: frozenset[str]
    faults: tuple[str, ...]
    texts: Mapping[str, str]  # what was typed into the form that was refused

    @property
    def is_late(self) -> bool:
        """Whether it was assigned and is not done."""
        return self.details.status in LATE_STATUSES

    @property
    def reasoned_actions(self) -> list[str]:
        """The actions the user may do that need a reason."""
        return [kind for kind in REASONED_ACTIONS if kind in self.may]

    @property
    def reasoned_acts(self) -> list[JobAct]:
        """The acts for which somebody gave a reason."""
        return [act for act in self.details.acts if act.reason and act.kind != "created"]


@dataclass(frozen=True, slots=True)
class JobDay:
    """A local day and its jobs, grouped by technician."""

    day: date
    people: list[tuple[User, list[JobSlip]]]


@signed_in_page
def show_jobs(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the jobs page."""
    return render(request, "jobs/jobs.html", _jobs_context(user_of(request), at))


@signed_in_action("/jobs/")
def act_on_job(request: HttpRequest, at: datetime, job_id: UUID, kind: str) -> HttpResponse:
    """Do one action on a job and return to the page; faults are shown beside the job."""
    user = user_of(request)
    row = queries.visible_jobs(user, at).filter(id=job_id).select_related("building").first()
    if row is None or kind not in ACTIONS:
        raise Http404
    if not policy.is_allowed(user, ACTIONS[kind], portfolio=row.portfolio_id, building=row.building_id, at=at):
        return HttpResponse("You can view this but not change it.", status=403, content_type="text/plain")
    faults, status = _try_action(request, row, kind=kind, user=user, at=at)
    if faults:
        texts = {name: request.POST.get(name, "")[:400] for name in _FIELD_LABELS}
        refused = RefusedAction(row.id, kind, faults, texts)
        return render(request, "jobs/jobs.html", _jobs_context(user, at, refused), status=status)
    return redirect(f"/jobs/#job-{row.id}")


def _try_action(request: HttpRequest, row: Job, kind: str, user: User, at: datetime) -> tuple[tuple[str, ...], int]:
    """Run the action; return the messages of its faults and the HTTP status."""
    cause, version = cause_of(request), parse_version(request.POST.get("version", ""))

    def write() -> None:
        decision = _read_decision(kind, request.POST.get, row.building.zone)
        pipeline.act_on_job(job=row.id, decision=decision, version=version, by=user, at=at, cause=cause)

    return attempt_write(write, _FIELD_LABELS)


_FIELD_LABELS = {"to": "Technician", "with": "Second person", "start": "Begins", "reason": "Reason"}


def _read_decision(kind: str, read_field: Callable[[str, str], str], zone: str) -> JobDecision:
    reason = read_field("reason", "")[:400]
    if kind != "plan":
        return JobDecision(kind, reason)
    return JobDecision(
        kind,
        reason,
        technician=_parse_id(read_field("to", "")),
        second=_parse_id(read_field("with", "")),
        since=parse_local_instant(read_field("start", ""), zone),
    )


def _parse_id(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _jobs_context(user: User, at: datetime, refused: RefusedAction | None = None) -> dict[str, object]:
    rows = queries.visible_jobs(user, at).exclude(status__in=states.OVER, status_since__lt=at - OVER_VISIBLE_FOR)
    all_details = queries.job_details(queries.with_details(rows), at)
    grants = list(policy.grants_for(user, "board.see", at).values_list("role", "portfolio", "building"))
    slips = [_make_slip(s, _permitted_actions(s, user, grants), refused) for s in all_details]
    may_plan = any("plan" in s.may for s in slips)
    waiting = sorted((s for s in slips if s.details.status in states.WAITING), key=_urgency_key)
    return {
        "waiting": waiting,
        "late": sum(s.details.status in LATE_STATUSES for s in waiting),
        "days": list(_job_days([s for s in slips if s.details.status in states.DATED])),
        "over": [s for s in slips if s.details.status in states.OVER],
        "proofs": _item_proofs(all_details),
        "people": _sendable_people({s.details.job.portfolio_id for s in slips}, at) if may_plan else [],
        "granted": grants,
        "makes": any(role in policy.ACTIONS["job.create"] for role, _, _ in grants),
        "here": "jobs",
    }


def _make_slip(details: queries.JobDetail, may: frozenset[str], refused: RefusedAction | None) -> JobSlip:
    if refused is None or refused.job != details.job.id:
        return JobSlip(details, may, (), {})
    return JobSlip(details, may, refused.faults, {**refused.texts, "kind": refused.kind})


def _item_proofs(all_details: Iterable[queries.JobDetail]) -> dict[str, tuple[str, int | None]]:
    """Return, by item id, the visit that settled the item and its line that closed the deficiency; one query."""
    settled_items = [
        (asked_item.item, asked_item.settled["visit"])
        for s in all_details
        for asked_item in s.asked
        if asked_item.settled
    ]
    deficiency_ids = {item.deficiency_id for item, visit in settled_items if item.deficiency_id and visit}
    lines = {(row, str(visit)): line for row, visit, line in deficiencies.closing_lines(deficiency_ids)}
    return {
        str(item.id): (visit, lines.get((item.deficiency_id, visit)) if item.deficiency_id else None)
        for item, visit in settled_items
        if visit
    }


def _urgency_key(slip: JobSlip) -> tuple[int, bool, datetime]:
    """Sort key: by class, then late jobs first, then by how long they have waited."""
    return LEVEL_RANKS[slip.details.job.level], slip.details.status not in LATE_STATUSES, slip.details.job.created_at


def _permitted_actions(
    details: queries.JobDetail, user: User, grants: Iterable[tuple[str, UUID, UUID | None]]
) -> frozenset[str]:
    """Return the actions that the status allows and this user may do, from grants already read."""
    job = details.job
    roles = {
        r
        for r, portfolio, building_id in grants
        if portfolio == job.portfolio_id and building_id in (None, job.building_id)
    }
    may = {
        k for k, action in ACTIONS.items() if roles & policy.ACTIONS[action] and states.status_after(details.status, k)
    }
    return frozenset(may if job.technician_id == user.id else may - {"accept", "decline", "start"})


def _job_days(slips: Iterable[JobSlip]) -> Iterable[JobDay]:
    """Yield the jobs by the building's local day, then by technician."""

    def slip_day(slip: JobSlip) -> date:
        since = slip.details.job.planned_since
        assert since is not None
        return day_of(since, slip.details.job.building.zone)

    def technician_name(slip: JobSlip) -> str:
        return slip.details.job.technician.get_username() if slip.details.job.technician else ""

    for local_day, day_slips in groupby(
        sorted(slips, key=lambda s: (slip_day(s), technician_name(s), s.details.job.planned_since)), slip_day
    ):
        slips_by_person = [list(person_slips) for _, person_slips in groupby(day_slips, technician_name)]
        yield JobDay(
            local_day,
            [
                (person_slips[0].details.job.technician, person_slips)
                for person_slips in slips_by_person
                if person_slips[0].details.job.technician
            ],
        )


def _sendable_people(portfolios: set[UUID], at: datetime) -> list[User]:
    """Return who can be sent: users with a role that does jobs. Others are planned through the API, by their id."""
    grants = Grant.objects.filter(not_ended(at), portfolio__in=portfolios, role__in=policy.ACTIONS["job.answer"])
    return list(active_users_of(grants).order_by("username"))
