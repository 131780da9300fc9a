"""One visit: as found against as left, what was concluded, whether the boiler may go back, and who seconded it."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet import pipeline
from fleet.accounts import policy
from fleet.assessments import queries as assessments
from fleet.assessments.found_left import sides
from fleet.assessments.report import pdf
from fleet.errors import Refused
from fleet.portfolio.news import Cause
from fleet.visits import queries as visits
from fleet.visits.models import Visit
from fleet.web import engineering
from fleet.web.pages import page

BUSY = "Somebody else is working on this boiler just now. Try again in a moment."


@page
def show(request: HttpRequest, at: datetime, visit_id: UUID) -> HttpResponse:
    """Show the page of one visit; 404 if the user may not see the boiler's visits."""
    visit = _seen(request.user, visit_id, at)
    return render(request, "visit.html", _context(request.user, visit, at))


@page
def report(request: HttpRequest, at: datetime, visit_id: UUID) -> HttpResponse:
    """Send the visit as a PDF."""
    visit = _seen(request.user, visit_id, at)
    named = f"visit-{visit.boiler.building.ref}-{visit.boiler.ref}-{visit.performed_at:%Y-%m-%d}.pdf"
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-.") else "-" for c in named)
    headers = {"Content-Disposition": f'inline; filename="{safe}"'}
    return HttpResponse(pdf(visit, at), content_type="application/pdf", headers=headers)


@require_POST
def second(request: HttpRequest, visit_id: UUID) -> HttpResponse:
    """Second a correction and return to the page; faults are shown above the button."""
    user: Any = request.user
    if not user.is_authenticated:
        return redirect_to_login(f"/visits/{visit_id}/")
    at = timezone.now()
    visit = _seen(user, visit_id, at)
    if not policy.may(user, "visit.second", visit.portfolio_id, visit.boiler.building_id, at):
        return HttpResponse("You may see this, but not do this.", status=403, content_type="text/plain")
    cause = Cause(who=user.get_username(), request_id=request.META.get("GAUGEGLASS_REQUEST_ID", ""))
    try:
        pipeline.second_correction(visit=visit.id, by=user, at=at, cause=cause)
    except Refused as refused:
        faults = [f.message for f in refused.faults]
        return render(request, "visit.html", _context(user, visit, at, faults), status=refused.status)
    except OperationalError:  # a lock was held too long: nothing was saved
        return render(request, "visit.html", _context(user, visit, at, [BUSY]), status=503)
    return redirect(f"/visits/{visit.id}/#second")


def _seen(user: Any, visit_id: UUID, at: datetime) -> Visit:
    seen = visits.to_boilers(policy.boilers(user, "visit.see", at))
    found = seen.select_related("boiler__building", "posted_by", "corrected_by", "seconding__by").filter(id=visit_id)
    visit = found.first()
    if visit is None:
        raise Http404
    return visit


def _context(user: Any, visit: Visit, at: datetime, faults: Sequence[str] = ()) -> dict[str, Any]:
    lines = assessments.lines(visit.id, at)
    waits = assessments.waiting(visit.boiler_id)
    return {
        "visit": visit,
        "boiler": visit.boiler,
        "zone": visit.boiler.building.zone,
        "as_of": at,
        "lines": lines,
        "sides": sides(lines, visit.performed_at),
        "derived": engineering.of_visit(visit, lines),
        "findings": assessments.findings(visit.id),
        "readiness": assessments.readiness(visit.id),
        "waits": waits,
        "seconding": getattr(visit, "seconding", None),
        "may_second": visit.id in waits and _may_second(user, visit, at),
        "faults": faults,
    }


def _may_second(user: Any, visit: Visit, at: datetime) -> bool:
    """Return whether role and authorship allow it; the pipeline checks the qualification."""
    if visit.posted_by_id == user.id:
        return False
    return policy.may(user, "visit.second", visit.portfolio_id, visit.boiler.building_id, at)
