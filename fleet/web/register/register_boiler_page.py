"""One boiler of the register: settings, positions, devices, papers and history, with forms for who may change them."""

from collections.abc import Iterator
from datetime import datetime
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.board import history
from fleet.catalog.queries import catalogue_at
from fleet.pipeline.edits import service_state_at
from fleet.portfolio.models import Boiler
from fleet.rules.needed_roles import GRACE_DAYS
from fleet.sheets import register_views
from fleet.visits import occupants, register_gaps
from fleet.web.register import change_forms as changes
from fleet.web.shared.forms import Form, find_sent_form
from fleet.web.shared.pages import signed_in_action, signed_in_page

MAX_CHANGES = 50


@signed_in_page
def show_register_boiler(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """Show the page of one boiler; 404 if the user may not see it."""
    boiler = _get_visible_boiler(request, boiler_id, at)
    boiler_view = register_views.read_boiler_view(boiler, catalogue_at(at), at)
    return render(
        request,
        "register/boiler.html",
        _boiler_context(request, boiler_view, _boiler_forms(request, boiler_view, at), at),
    )


@signed_in_action("/register/boilers/{boiler_id}/")
def change_boiler(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """Run the submitted form and return to the page; faults are shown beside their fields."""
    boiler = _get_visible_boiler(request, boiler_id, at)
    if not policy.is_allowed(
        user_of(request), "register.change", portfolio=boiler.portfolio_id, building=boiler.building_id, at=at
    ):
        return HttpResponse("You can view this but not change it.", status=403, content_type="text/plain")
    boiler_view = register_views.read_boiler_view(boiler, catalogue_at(at), at)
    forms = _boiler_forms(request, boiler_view, at)
    form = find_sent_form((candidate for form_list in forms.values() for candidate in form_list), request)
    if form is None:
        raise Http404
    status = form.submit(request)
    if status == 200:
        return redirect(f"/register/boilers/{boiler.id}/#{form.key}")
    return render(request, "register/boiler.html", _boiler_context(request, boiler_view, forms, at), status=status)


def _get_visible_boiler(request: HttpRequest, boiler_id: UUID, at: datetime) -> Boiler:
    visible_boilers = policy.boilers_for(user_of(request), "register.see", at).select_related("building__portfolio")
    return get_object_or_404(visible_boilers, id=boiler_id)


def _boiler_forms(
    request: HttpRequest, boiler_view: register_views.RegisterBoilerView, at: datetime
) -> dict[str, list[Form]]:
    """Return the forms by position id, the boiler's own under ""; {} unless the user may change the register."""
    boiler = boiler_view.boiler
    if not policy.is_allowed(
        user_of(request), "register.change", portfolio=boiler.portfolio_id, building=boiler.building_id, at=at
    ):
        return {}
    context = changes.EditContext(
        boiler_view, service_state_at(boiler.id, at), release=boiler_view.release, at=at, cause=cause_of(request)
    )
    return {
        "": changes.boiler_forms(context),
        **{str(p.place.id): changes.place_forms(context, p) for p in boiler_view.places},
    }


def _boiler_context(
    request: HttpRequest, boiler_view: register_views.RegisterBoilerView, forms: dict[str, list[Form]], at: datetime
) -> dict[str, object]:
    boiler = boiler_view.boiler
    return {
        "boiler": boiler,
        "service": service_state_at(boiler.id, at),
        "values": boiler_view.values,
        "gaps": register_gaps.gaps_of_boiler(boiler, boiler_view.release, at),
        "grace_days": GRACE_DAYS,
        "places": list(_place_contexts(request, boiler_view, forms, at)),
        "forms": forms.get("", []),
        "papers": register_views.papers_by_end(boiler.building_id, [boiler.id]),
        "changes": history.boiler_changes(boiler.id)[:MAX_CHANGES],
        "as_of": at,
        "here": "register",
    }


def _place_contexts(
    request: HttpRequest, boiler_view: register_views.RegisterBoilerView, forms: dict[str, list[Form]], at: datetime
) -> Iterator[dict[str, object]]:
    """Yield each position; for users who may read visits, with what visits did since the register's last entry."""
    boiler, release = boiler_view.boiler, boiler_view.release
    may_read = policy.is_allowed(
        user_of(request), "visit.see", portfolio=boiler.portfolio_id, building=boiler.building_id, at=at
    )
    since = {p.place.id: p.now.since if p.now else boiler.since for p in boiler_view.places}
    acts = occupants.occupant_acts_since(since, at) if may_read else {}
    for place in boiler_view.places:
        yield {
            "seen": place,
            "role": release.roles.get(place.place.role),
            "kind": release.kinds.get(place.now.kind) if place.now else None,
            "forms": forms.get(str(place.place.id), []),
            "entry": acts.get(place.place.id),
        }
