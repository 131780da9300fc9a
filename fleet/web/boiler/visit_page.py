"""One visit: as found against as left, what was concluded, what stands against firing, and who seconded it."""

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial
from typing import Any
from uuid import UUID

from django.db import OperationalError
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.assessments import queries as assessments
from fleet.assessments.found_left import visit_sides
from fleet.assessments.named_words import naming_notes
from fleet.assessments.report import render_pdf
from fleet.errors import Refused
from fleet.files.queries import paper_of, photographs_of
from fleet.portfolio.models import Boiler
from fleet.rules.vocabulary import NameReply
from fleet.visits import queries as visits
from fleet.visits.models import Visit
from fleet.web.boiler import engineering
from fleet.web.shared.pages import signed_in_action, signed_in_page

REPLIES = {"confirm": NameReply.SECONDED, "deny": NameReply.DENIED}
SECOND_ACTION, REPLY_ACTION = "visit.second", "visit.reply"
MAX_REASON_LENGTH = 400
MAX_NAMING_VISITS = 50  # on the page; the API's list has them all
BUSY_MESSAGE = "Somebody else is working on this boiler right now. Try again in a moment."


@signed_in_page
def show_visit(request: HttpRequest, at: datetime, visit_id: UUID) -> HttpResponse:
    """Show the page of one visit; 404 if the user may not see the boiler's visits."""
    visit = _get_visible_visit(request.user, visit_id, at)
    return render(request, "boiler/visit.html", _visit_context(request.user, visit, at))


@signed_in_page
def show_visit_report(request: HttpRequest, at: datetime, visit_id: UUID) -> HttpResponse:
    """Send the visit as a PDF."""
    visit = _get_visible_visit(request.user, visit_id, at)
    file_name = f"visit-{visit.boiler.building.ref}-{visit.boiler.ref}-{visit.performed_at:%Y-%m-%d}.pdf"
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-.") else "-" for c in file_name)
    headers = {"Content-Disposition": f'inline; filename="{safe}"'}
    return HttpResponse(render_pdf(visit, at), content_type="application/pdf", headers=headers)


@signed_in_action("/visits/{visit_id}/")
def second_visit(request: HttpRequest, at: datetime, visit_id: UUID) -> HttpResponse:
    """Second a correction or a paper and return to the page; faults are shown above the button."""
    return _write_and_return(request, at, visit_id, action=SECOND_ACTION, write=pipeline.second_correction)


@signed_in_action("/visits/{visit_id}/")
def reply_to_visit(request: HttpRequest, at: datetime, visit_id: UUID, reply: str) -> HttpResponse:
    """Second or deny a visit that names the user, and return to the page; faults are shown above the buttons."""
    if reply not in REPLIES:
        raise Http404
    reason = request.POST.get("reason", "").strip()[:MAX_REASON_LENGTH] if reply == "deny" else ""
    write = partial(pipeline.reply_to_naming, reply=REPLIES[reply], reason=reason)
    return _write_and_return(request, at, visit_id, action=REPLY_ACTION, write=write)


def _write_and_return(
    request: HttpRequest, at: datetime, visit_id: UUID, *, action: str, write: Callable[..., Any]
) -> HttpResponse:
    user = user_of(request)
    visit = _get_visible_visit(user, visit_id, at)
    is_member = policy.is_allowed(user, action, portfolio=visit.portfolio_id, building=visit.boiler.building_id, at=at)
    is_own_word = action == REPLY_ACTION and visit.id in _visits_to_reply_to(user, visit, at)
    if not (is_member or is_own_word):
        return HttpResponse("You can view this but not change it.", status=403, content_type="text/plain")
    cause = cause_of(request)
    try:
        write(visit=visit.id, by=user, at=at, cause=cause)
    except Refused as refused:
        faults = [f.message for f in refused.faults]
        return render(request, "boiler/visit.html", _visit_context(user, visit, at, faults), status=refused.status)
    except OperationalError:  # a lock was held too long: nothing was saved
        return render(request, "boiler/visit.html", _visit_context(user, visit, at, [BUSY_MESSAGE]), status=503)
    if not is_member:  # he was asked about a boiler that he may not see any more
        return redirect("naming-visits")
    return redirect(f"/visits/{visit.id}/#{'named' if action == REPLY_ACTION else 'second'}")


def _get_visible_visit(user: Any, visit_id: UUID, at: datetime) -> Visit:
    visible_visits = visits.visits_to(policy.boilers_for(user, "visit.see", at))
    named_visits = assessments.visits_that_name(user)
    matching_visits = visits.visits_to(Boiler.objects.all()).filter(
        Q(id__in=visible_visits.values("id")) | Q(id__in=named_visits.values("id")), id=visit_id
    )
    visit = matching_visits.select_related("boiler__building", "corrected_by", "seconding__by", "waiting").first()
    if visit is None:
        raise Http404
    return visit


def _visit_context(user: object, visit: Visit, at: datetime, faults: Sequence[str] = ()) -> dict[str, object]:
    lines = assessments.visit_lines(visit.id, at)
    waits, lacks, paper = assessments.waiting_corrections(visit.boiler_id), _paper_lacks(visit), paper_of(visit)
    readiness = assessments.readiness_standing_at(visit)
    return {
        "visit": visit,
        "boiler": visit.boiler,
        "zone": visit.boiler.building.zone,
        "as_of": at,
        "lines": lines,
        "sides": visit_sides(lines, visit.performed_at),
        "derived": engineering.derived_sentences(visit, lines),
        "photographs": photographs_of(visit),
        "findings": assessments.findings_of(visit.id),
        "readiness": readiness,
        "answered_by": readiness.visit if readiness and readiness.visit_id != visit.id else None,
        "waits": waits,
        "paper": paper,
        "lacks": lacks,
        "seconding": getattr(visit, "seconding", None),
        "may_second": (visit.id in waits or bool(lacks)) and _may_second(user, visit, at),
        "naming_notes": list(naming_notes(visit)),
        "may_reply": visit.id in _visits_to_reply_to(user, visit, at),
        "faults": faults,
    }


def _visits_to_reply_to(user: Any, visit: Visit, at: datetime) -> set[UUID]:
    """Return the visit's id where it waits for this user's own word; nobody is asked for what he posted himself."""
    if not visit.names_need_second or visit.posted_by_id == user.id:
        return set()
    if visits.is_under_pin_of(visit, user):
        return {visit.id}
    return set(assessments.visits_that_name(user).filter(id=visit.id).values_list("id", flat=True))


@signed_in_page
def show_naming_visits(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the visits that others posted and that wait for the user's own word."""
    user = user_of(request)
    naming_visits = assessments.visits_that_name(user)
    ordered = naming_visits.select_related("waiting").order_by("-performed_at", "-id")
    newest_visits = list(ordered[: MAX_NAMING_VISITS + 1])
    context = {"visits": newest_visits[:MAX_NAMING_VISITS], "more": len(newest_visits) > MAX_NAMING_VISITS, "as_of": at}
    return render(request, "boiler/naming_visits.html", context)


def _paper_lacks(visit: Visit) -> Sequence[str]:
    """Return what the visit's paper lacks to end a hold or a tag; nothing is asked for a visit without one."""
    return assessments.waiting_papers(visit.boiler_id).get(visit.id, ()) if hasattr(visit, "paper") else ()


def _may_second(user: Any, visit: Visit, at: datetime) -> bool:
    """Return whether role and authorship allow it, once; the pipeline checks the qualification."""
    if visit.posted_by_id == user.id or hasattr(visit, "seconding"):
        return False
    return policy.is_allowed(
        user, "visit.second", portfolio=visit.portfolio_id, building=visit.boiler.building_id, at=at
    )
