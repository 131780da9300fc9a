"""A call comes in: choose the house, say the cautions, choose what it is about, make the job; danger first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import cause_of, user_of
from fleet.calendar import day_of
from fleet.errors import Refused
from fleet.jobs.call_kinds import CALL_KINDS, DANGER_ANSWER, DANGER_QUESTION, NEVER
from fleet.jobs.calls import MAX_LENGTHS, CallRequest, visible_calls
from fleet.portfolio.models import Building
from fleet.web.jobs.new_job_page import building_list_context, find_building
from fleet.web.shared.local_times import parse_local_instant
from fleet.web.shared.pages import signed_in_action, signed_in_page
from fleet.web.shared.write_attempts import attempt_write

CALLS_SHOWN = 10
FIELD_LABELS = {
    "kind": "What is it about",
    "since": "Since when",
    "flat": "Flat",
    "caller": "Who calls",
    "call_back": "Call back",
    "note": "Note",
}


@dataclass(frozen=True, slots=True)
class CallForm:
    """What was typed, the faults of it, and the status of the answer."""

    texts: dict[str, str]
    faults: Sequence[str] = ()
    status: int = 200


@signed_in_page
def show_call(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the houses to choose from, or the form for one of them."""
    user = user_of(request)
    if not policy.grants_for(user, "job.create", at).exists():
        raise PermissionDenied
    if "building" not in request.GET:
        return render(request, "jobs/call.html", {**_words(), **_house_context(request, user, at)})
    building = find_building(user, request.GET["building"], at)
    return _render_form(request, building, CallForm({}), at)


@signed_in_action("/calls/new/")
def take_call(request: HttpRequest, at: datetime) -> HttpResponse:
    """Record the call and go to today's day book, where its job waits; what was typed stays where it is refused."""
    user, cause = user_of(request), cause_of(request)
    building = find_building(user, request.POST.get("building", ""), at)
    texts = {name: request.POST.get(name, "").strip()[:1001] for name in ("kind", "since", *MAX_LENGTHS)}
    jobs: list[UUID] = []

    def write() -> None:
        call = pipeline.take_call(
            building=building.id, request=_read_call(texts, building.zone), by=user, at=at, cause=cause
        )
        jobs.append(call.job_id)

    faults, status = attempt_write(write, FIELD_LABELS)
    if faults:
        return _render_form(request, building, CallForm(texts, faults, status), at)
    today = day_of(at, building.zone).isoformat()
    return redirect(f"/jobs/day/?portfolio={building.portfolio_id}&day={today}#row-{jobs[0]}")


def _read_call(texts: dict[str, str], zone: str) -> CallRequest:
    since = parse_local_instant(texts["since"], zone) if texts["since"] else None
    if texts["since"] and since is None:
        raise Refused("bad_value", "Enter day and time, or leave it empty.", ("since",), status=422)
    return CallRequest(texts["kind"], since=since, **{name: texts[name] for name in MAX_LENGTHS})


def _render_form(request: HttpRequest, building: Building, form: CallForm, at: datetime) -> HttpResponse:
    context = {
        **_words(),
        "building": building,
        "form": form,
        "calls": list(visible_calls(user_of(request), at).filter(building=building)[:CALLS_SHOWN]),
    }
    return render(request, "jobs/call.html", context, status=form.status)


def _house_context(request: HttpRequest, user: User, at: datetime) -> dict[str, object]:
    return building_list_context(user, request.GET.get("q", "")[:100], at)


def _words() -> dict[str, object]:
    words = {"danger_question": DANGER_QUESTION, "danger_answer": DANGER_ANSWER, "never": NEVER}
    return {**words, "kinds": CALL_KINDS.values(), "here": "jobs"}
