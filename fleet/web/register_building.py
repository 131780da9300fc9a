"""One building of the register: address, hours, boilers, papers and history, with forms for who may change it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect as led
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet import pipeline
from fleet.accounts import policy
from fleet.board import history
from fleet.calendar import day_of
from fleet.portfolio import seen
from fleet.portfolio.models import Boiler, Building
from fleet.web.pages import page
from fleet.web.register_boiler import RECENT, cause_of
from fleet.web.register_changes import paper_fields
from fleet.web.register_forms import Field, Form, Texts, found


@page
def show(request: HttpRequest, at: datetime, building_id: UUID) -> HttpResponse:
    """Show the page of one building; 404 if the user may not see it."""
    building, boilers = _seen(request, building_id, at)
    forms = _forms(request, building, at)
    return render(request, "register/building.html", _context(building, boilers, forms, at))


@require_POST
def change(request: HttpRequest, building_id: UUID) -> HttpResponse:
    """Run the submitted form and return to the page; faults are shown beside their fields."""
    if not request.user.is_authenticated:
        return redirect_to_login(f"/register/buildings/{building_id}/")
    at = timezone.now()
    building, boilers = _seen(request, building_id, at)
    forms = _forms(request, building, at)
    if not forms:
        return HttpResponse("You may see this, but not do this.", status=403, content_type="text/plain")
    form = found(forms, request)
    if form is None:
        raise Http404
    status = form.sent(request)
    if status == 200:
        return led(f"/register/buildings/{building.id}/#{form.key}")
    return render(request, "register/building.html", _context(building, boilers, forms, at), status=status)


def _seen(request: HttpRequest, building_id: UUID, at: datetime) -> tuple[Building, list[Boiler]]:
    own = policy.boilers(request.user, "register.see", at).filter(building=building_id)
    boilers = list(own.select_related("building__portfolio").order_by("name", "ref"))
    if not boilers:
        raise Http404
    return boilers[0].building, boilers


def _context(building: Building, boilers: list[Boiler], forms: list[Form], at: datetime) -> dict[str, Any]:
    ids = [b.id for b in boilers]
    return {
        "building": building,
        "boilers": boilers,
        "forms": forms,
        "papers": seen.papers(building.id, ids),
        "changes": history.of_building(building.id, ids)[:RECENT],
        "as_of": at,
        "here": "register",
    }


def _forms(request: HttpRequest, building: Building, at: datetime) -> list[Form]:
    if not policy.may(request.user, "register.change", building.portfolio_id, building.id, at):
        return []
    cause, today = cause_of(request), day_of(at, building.zone).isoformat()
    rows = pipeline.Edited(building)

    def edit(given: Texts, was: Texts) -> None:
        pipeline.edit_cells(of=rows, was=was, cells=given, at=at, cause=cause)

    def add(given: Texts, was: Texts) -> None:
        pipeline.add_cells(to=rows, cells=given, at=at, cause=cause)

    def paper(given: Texts, was: Texts) -> None:
        pipeline.hand_in_paper(building=building, boiler=None, given=given, at=at, cause=cause)

    facts = {"address": building.address, "units": str(building.units), "access_hours": building.access_hours}
    return [
        Form("facts", "Address, units, access hours", _facts(facts), edit, facts),
        Form("boiler", "Add a boiler", _boiler(today), add, button="Add"),
        Form("paper", "Add a paper", paper_fields(today), paper, button="Add"),
    ]


def _facts(facts: Texts) -> list[Field]:
    return [
        Field("address", "Address", facts["address"], required=True),
        Field("units", "Dwelling units", facts["units"]),
        Field(
            "access_hours", "Access hours", facts["access_hours"], hint="As in mon-fri 08:00-17:00; empty: at any time."
        ),
    ]


def _boiler(today: str) -> list[Field]:
    return [
        Field("boiler_ref", "Ref", required=True, hint="Short, and never another: the boiler is known by it."),
        Field("boiler_name", "Name", required=True),
        Field("since", "On record since", today, type="date", required=True, hint="Fixed from then on."),
    ]
