"""One deficiency: its whole life, what closes it, the jobs that include it, and the forms for decisions."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.board import history
from fleet.deficiencies import queries, story
from fleet.deficiencies.models import Deficiency
from fleet.jobs import onto
from fleet.jobs import queries as jobs
from fleet.visits import queries as visits
from fleet.web.decisions import forms_for
from fleet.web.pages import page
from fleet.web.register_forms import Form, found

GONE = ("withdrawn", "merged")


@page
def show(request: HttpRequest, at: datetime, deficiency_id: UUID) -> HttpResponse:
    """Show the page of one deficiency; 404 if the user may not see its boiler."""
    row = _seen(request.user, deficiency_id, at)
    told = queries.shown(row, at)
    return render(request, "deficiency.html", _context(request, told, forms_for(request, told, at), at))


@require_POST
def act(request: HttpRequest, deficiency_id: UUID) -> HttpResponse:
    """Run the submitted form and return to the page; faults are shown beside their fields."""
    if not request.user.is_authenticated:
        return redirect_to_login(f"/deficiencies/{deficiency_id}/")
    at = timezone.now()
    told = queries.shown(_seen(request.user, deficiency_id, at), at)
    forms = forms_for(request, told, at, offered=False)
    form = found(forms, request)
    if form is None:
        return _not_offered(request)
    status = form.sent(request)
    if status == 200:
        return redirect(f"/deficiencies/{deficiency_id}/#life")
    told = queries.shown(_seen(request.user, deficiency_id, at), at)
    return render(request, "deficiency.html", _context(request, told, forms, at), status=status)


def _not_offered(request: HttpRequest) -> HttpResponse:
    if request.POST.get("form", "") not in ("assigned", "repair_reported", "deferred", "explained"):
        raise Http404
    return HttpResponse("You may see this, but not do this.", status=403, content_type="text/plain")


def _seen(user: User | Any, deficiency: UUID, at: datetime) -> Deficiency:
    own = policy.boilers(user, "board.see", at)
    rows = Deficiency.objects.filter(id=deficiency, boiler__in=own, opened_at__lte=at)
    row = rows.select_related("boiler__building__portfolio", "position", "opened_by").first()
    if row is None:
        raise Http404
    return row


def _context(request: HttpRequest, told: queries.Shown, forms: list[Form], at: datetime) -> dict[str, Any]:
    row, user = told.row, request.user
    building = row.boiler.building
    written = history.of_deficiency(row.id).filter(after__in=GONE).first() if row.withdrawn else None
    events = story.told(told, row.swallowed.order_by("opened_at"), written.recorded_at if written else None)
    first_act, clears_by = queries.advice(row, at)
    may_read = policy.may(user, "visit.see", row.portfolio_id, building.id, at)
    asking = jobs.seen(user, at).filter(items__deficiency=row).select_related("technician").order_by("created_at", "id")
    return {
        "row": row,
        "life": told.life,
        "job": onto.of_deficiencies(user, [row.id], at).get(row.id),
        "building": building,
        "events": events,
        "entries": visits.places(e.entry for e in events if e.entry) if may_read else {},
        "may_read": may_read,
        "jobs": [(job, jobs.status_at(job, at)) for job in asking.distinct()],
        "may_make": policy.may(user, "job.create", row.portfolio_id, building.id, at),
        "first_act": first_act,
        "clears_by": clears_by,
        "forms": forms,
        "as_of": at,
        "here": "deficiencies",
    }
