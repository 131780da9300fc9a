"""Jobs by day and technician: jobs to plan, planned jobs, and the forms to plan, accept, start, decline and cancel."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.db import OperationalError
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import Grant, User
from fleet.calendar import day_of
from fleet.deficiencies import queries as deficiencies
from fleet.errors import Refused
from fleet.jobs import queries, states
from fleet.jobs.acts import Decision
from fleet.jobs.models import Job
from fleet.portfolio.news import Cause
from fleet.rules.values import Level
from fleet.web.local import instant
from fleet.web.pages import page

RANK = {level.value: rank for rank, level in enumerate(Level)}  # 0 the worst
LATE = (states.MISSED, states.BACK)  # was assigned, and is not done
KEPT = timedelta(days=7)  # how long finished jobs stay on the page
ACTIONS = {"plan": "job.plan", "cancel": "job.cancel", **dict.fromkeys(("accept", "decline", "start"), "job.answer")}


@dataclass(frozen=True, slots=True)
class Slip:
    """One job on the page, what this user may do about it now, and the faults of the last attempt."""

    shown: queries.Shown
    may: frozenset[str]
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Day:
    """A local day and its jobs, grouped by technician."""

    day: date
    people: list[tuple[User, list[Slip]]]


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the jobs page."""
    return render(request, "jobs.html", _context(request.user, at))


@require_POST
def act(request: HttpRequest, job_id: UUID, kind: str) -> HttpResponse:
    """Do one action on a job and return to the page; faults are shown beside the job."""
    user: Any = request.user
    if not user.is_authenticated:
        return redirect_to_login("/jobs/")
    at = timezone.now()
    row = queries.seen(user, at).filter(id=job_id).select_related("building").first()
    if row is None or kind not in ACTIONS:
        raise Http404
    if not policy.may(user, ACTIONS[kind], row.portfolio_id, row.building_id, at):
        return HttpResponse("You may see this, but not do this.", status=403, content_type="text/plain")
    faults, status = _tried(request, row, kind, user, at)
    if faults:
        return render(request, "jobs.html", _context(user, at, {row.id: faults}), status=status)
    return redirect(f"/jobs/#job-{row.id}")


def _tried(request: HttpRequest, row: Job, kind: str, user: User, at: datetime) -> tuple[tuple[str, ...], int]:
    """Run the action; return the messages of its faults and the HTTP status."""
    version = request.POST.get("version", "")
    try:
        decision = _decision(kind, request.POST.get, row.building.zone)
        told = Cause(who=user.get_username(), request_id=request.META.get("GAUGEGLASS_REQUEST_ID", ""))
        number = int(version) if version.isdecimal() and len(version) < 10 else 0
        pipeline.act_on_job(job=row.id, decision=decision, version=number, by=user, at=at, cause=told)
    except Refused as refused:
        return tuple(_said(f.code, f.message, f.at) for f in refused.faults), refused.status
    except OperationalError:  # a lock was held too long: nothing was saved
        return ("Somebody else is working on this just now. Try again in a moment.",), 503
    return (), 200


_FIELDS = {"to": "Technician", "with": "Second person", "start": "Begins", "reason": "Reason"}


def _said(code: str, message: str, at: Sequence[str | int]) -> str:
    if code == "stale":
        return "Somebody changed this meanwhile: look again, then decide."
    return f"{_FIELDS[str(at[0])]}: {message}" if at and at[0] in _FIELDS else message


def _decision(kind: str, given: Callable[[str, str], str], zone: str) -> Decision:
    reason = given("reason", "")[:400].replace("\x00", "")
    if kind != "plan":
        return Decision(kind, reason)
    return Decision(kind, reason, _id(given("to", "")), _id(given("with", "")), instant(given("start", ""), zone))


def _id(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _context(user: User | Any, at: datetime, faults: dict[UUID, tuple[str, ...]] | None = None) -> dict[str, Any]:
    rows = queries.seen(user, at).exclude(status__in=states.OVER, status_since__lt=at - KEPT)
    shown = queries.all_shown(queries.listed(rows), at)
    granted = list(policy.grants(user, "board.see", at).values_list("role", "portfolio", "building"))
    slips = [Slip(s, _may(s, user, granted), (faults or {}).get(s.job.id, ())) for s in shown]
    plans = any("plan" in s.may for s in slips)
    waiting = sorted((s for s in slips if s.shown.status in states.WAITING), key=_worst)
    return {
        "waiting": waiting,
        "late": sum(s.shown.status in LATE for s in waiting),
        "days": list(_days([s for s in slips if s.shown.status in states.HELD])),
        "over": [s for s in slips if s.shown.status in states.OVER],
        "proofs": _proofs(shown),
        "people": _people({s.shown.job.portfolio_id for s in slips}, at) if plans else [],
        "granted": granted,
        "makes": any(role in policy.ACTIONS["job.create"] for role, _, _ in granted),
        "reasoned": ("decline", "cancel"),
        "here": "jobs",
    }


def _proofs(shown: Iterable[queries.Shown]) -> dict[str, tuple[str, int | None]]:
    """Return, by item id, the visit that settled the item and its line that closed the deficiency; one query."""
    settled = [(one.item, one.settled["visit"]) for s in shown for one in s.asked if one.settled]
    asked = {item.deficiency_id for item, visit in settled if item.deficiency_id and visit}
    lines = {(row, str(visit)): line for row, visit, line in deficiencies.closing_lines(asked)}
    return {str(item.id): (visit, lines.get((item.deficiency_id, visit))) for item, visit in settled if visit}


def _worst(slip: Slip) -> tuple[int, bool, datetime]:
    """Sort key: by class, then late jobs first, then by how long they have waited."""
    return RANK[slip.shown.job.level], slip.shown.status not in LATE, slip.shown.job.created_at


def _may(shown: queries.Shown, user: User, granted: Iterable[tuple[str, UUID, UUID | None]]) -> frozenset[str]:
    """Return the actions that the status allows and this user may do, from grants already read."""
    job = shown.job
    roles = {r for r, portfolio, house in granted if portfolio == job.portfolio_id and house in (None, job.building_id)}
    may = {k for k, action in ACTIONS.items() if roles & policy.ACTIONS[action] and states.after(shown.status, k)}
    return frozenset(may if job.technician_id == user.id else may - {"accept", "decline", "start"})


def _days(slips: Iterable[Slip]) -> Iterable[Day]:
    """Yield the jobs by the building's local day, then by technician."""

    def day(slip: Slip) -> date:
        since = slip.shown.job.planned_since
        assert since is not None
        return day_of(since, slip.shown.job.building.zone)

    def name(slip: Slip) -> str:
        return slip.shown.job.technician.get_username() if slip.shown.job.technician else ""

    for one, own in groupby(sorted(slips, key=lambda s: (day(s), name(s), s.shown.job.planned_since)), day):
        listed = [list(those) for _, those in groupby(own, name)]
        yield Day(one, [(those[0].shown.job.technician, those) for those in listed if those[0].shown.job.technician])


def _people(portfolios: set[UUID], at: datetime) -> list[User]:
    """Return who can be sent: users with a role that does jobs. Others are planned through the API, by their id."""
    granted = Grant.objects.filter(
        Q(until=None) | Q(until__gt=at), portfolio__in=portfolios, role__in=policy.ACTIONS["job.answer"]
    )
    return list(User.objects.filter(id__in=granted.values("user"), is_active=True).order_by("username"))
