"""One building of the register: address, hours, boilers, papers and history, with forms for who may change it."""

from datetime import datetime
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect as led
from django.shortcuts import render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.board import history
from fleet.calendar import day_of
from fleet.portfolio.models import Boiler, Building
from fleet.sheets import register_views
from fleet.sheets.columns import COORDINATES, as_text
from fleet.web.register.change_forms import paper_fields
from fleet.web.register.register_boiler_page import MAX_CHANGES
from fleet.web.shared.forms import Form, FormField, Texts, find_sent_form
from fleet.web.shared.pages import signed_in_action, signed_in_page


@signed_in_page
def show_register_building(request: HttpRequest, at: datetime, building_id: UUID) -> HttpResponse:
    """Show the page of one building; 404 if the user may not see it."""
    building, boilers = _get_visible_building(request, building_id, at)
    forms = _building_forms(request, building, at)
    return render(request, "register/building.html", _building_context(building, boilers, forms, at))


@signed_in_action("/register/buildings/{building_id}/")
def change_building(request: HttpRequest, at: datetime, building_id: UUID) -> HttpResponse:
    """Run the submitted form and return to the page; faults are shown beside their fields."""
    building, boilers = _get_visible_building(request, building_id, at)
    forms = _building_forms(request, building, at)
    if not forms:
        return HttpResponse("You can view this but not change it.", status=403, content_type="text/plain")
    form = find_sent_form(forms, request)
    if form is None:
        raise Http404
    status = form.submit(request)
    if status == 200:
        return led(f"/register/buildings/{building.id}/#{form.key}")
    return render(request, "register/building.html", _building_context(building, boilers, forms, at), status=status)


def _get_visible_building(request: HttpRequest, building_id: UUID, at: datetime) -> tuple[Building, list[Boiler]]:
    visible_boilers = policy.boilers_for(user_of(request), "register.see", at).filter(building=building_id)
    boilers = list(visible_boilers.select_related("building__portfolio").order_by("name", "ref"))
    if not boilers:
        raise Http404
    return boilers[0].building, boilers


def _building_context(building: Building, boilers: list[Boiler], forms: list[Form], at: datetime) -> dict[str, object]:
    ids = [b.id for b in boilers]
    return {
        "building": building,
        "boilers": boilers,
        "forms": forms,
        "papers": register_views.papers_by_end(building.id, ids),
        "changes": history.building_changes(building.id, ids)[:MAX_CHANGES],
        "as_of": at,
        "here": "register",
    }


def _building_forms(request: HttpRequest, building: Building, at: datetime) -> list[Form]:
    if not _may_change(request, building, at):
        return []
    cause, today = cause_of(request), day_of(at, building.zone).isoformat()
    edited_rows = pipeline.EditScope(building)

    def edit_facts(texts: Texts, original: Texts) -> None:
        pipeline.edit_cells(scope=edited_rows, was=original, cells=texts, at=at, cause=cause)

    def add_boiler(texts: Texts, original: Texts) -> None:
        pipeline.add_cells(scope=edited_rows, cells=texts, at=at, cause=cause)

    def add_paper(texts: Texts, original: Texts) -> None:
        pipeline.hand_in_paper(building=building, boiler=None, cells=texts, at=at, cause=cause)

    facts, title = _fact_texts(building), "Address, units, access hours, place"
    return [
        Form("facts", title, fields=_fact_fields(facts), run=edit_facts, page_values=facts),
        Form("boiler", "Add a boiler", _boiler_fields(today), add_boiler, button="Add"),
        Form("paper", "Add a paper", paper_fields(today), add_paper, button="Add"),
    ]


def _may_change(request: HttpRequest, building: Building, at: datetime) -> bool:
    return policy.is_allowed(
        user_of(request), "register.change", portfolio=building.portfolio_id, building=building.id, at=at
    )


def _fact_texts(building: Building) -> Texts:
    texts = {"address": building.address, "units": str(building.units), "access_hours": building.access_hours}
    return {**texts, **{column: as_text(getattr(building, column)) for column in COORDINATES}}


def _fact_fields(facts: Texts) -> list[FormField]:
    return [
        FormField("address", "Address", facts["address"], required=True),
        FormField("units", "Dwelling units", facts["units"]),
        FormField(
            "access_hours",
            "Access hours",
            facts["access_hours"],
            hint="For example mon-fri 08:00-17:00. Empty means at any time.",
        ),
        FormField("latitude_deg", "Degrees north", facts["latitude_deg"], hint="For example 40.5212."),
        FormField(
            "longitude_deg", "Degrees east", facts["longitude_deg"], hint="For example -74.0341; west is negative."
        ),
    ]


def _boiler_fields(today: str) -> list[FormField]:
    return [
        FormField(
            "boiler_ref", "Ref", required=True, hint="Short. It identifies the boiler and cannot be changed later."
        ),
        FormField("boiler_name", "Name", required=True),
        FormField("since", "On record since", today, type="date", required=True, hint="It cannot be changed later."),
    ]
