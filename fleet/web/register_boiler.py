"""One boiler of the register: settings, positions, devices, papers and history, with forms for who may change them."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet.accounts import policy
from fleet.board import history
from fleet.pipeline.edits import release_at, service_of
from fleet.portfolio import seen
from fleet.portfolio.models import Boiler
from fleet.portfolio.news import Cause
from fleet.visits import occupants
from fleet.web import register_changes as changes
from fleet.web.pages import page
from fleet.web.register_forms import Form, found

RECENT = 50


@page
def show(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """Show the page of one boiler; 404 if the user may not see it."""
    boiler = _seen(request, boiler_id, at)
    told = seen.boiler(boiler, release_at(at), at)
    return render(request, "register/boiler.html", _context(request, told, _forms(request, told, at), at))


@require_POST
def change(request: HttpRequest, boiler_id: UUID) -> HttpResponse:
    """Run the submitted form and return to the page; faults are shown beside their fields."""
    if not request.user.is_authenticated:
        return redirect_to_login(f"/register/boilers/{boiler_id}/")
    at = timezone.now()
    boiler = _seen(request, boiler_id, at)
    if not policy.may(request.user, "register.change", boiler.portfolio_id, boiler.building_id, at):
        return HttpResponse("You may see this, but not do this.", status=403, content_type="text/plain")
    told = seen.boiler(boiler, release_at(at), at)
    forms = _forms(request, told, at)
    form = found((one for listed in forms.values() for one in listed), request)
    if form is None:
        raise Http404
    status = form.sent(request)
    if status == 200:
        return redirect(f"/register/boilers/{boiler.id}/#{form.key}")
    return render(request, "register/boiler.html", _context(request, told, forms, at), status=status)


def _seen(request: HttpRequest, boiler_id: UUID, at: datetime) -> Boiler:
    own = policy.boilers(request.user, "register.see", at).select_related("building__portfolio")
    return get_object_or_404(own, id=boiler_id)


def cause_of(request: HttpRequest) -> Cause:
    """Return the cause of a change: the user and the request's id."""
    who: Any = request.user
    return Cause(who=who.get_username(), request_id=request.META.get("GAUGEGLASS_REQUEST_ID", ""))


def _forms(request: HttpRequest, told: seen.BoilerSeen, at: datetime) -> dict[str, list[Form]]:
    """Return the forms by position id, the boiler's own under ""; {} unless the user may change the register."""
    boiler = told.boiler
    if not policy.may(request.user, "register.change", boiler.portfolio_id, boiler.building_id, at):
        return {}
    desk = changes.Desk(told, service_of(boiler.id, at), release_at(at), at, cause_of(request))
    return {"": changes.of_boiler(desk), **{str(p.place.id): changes.of_place(desk, p) for p in told.places}}


def _context(request: HttpRequest, told: seen.BoilerSeen, forms: dict[str, list[Form]], at: datetime) -> dict[str, Any]:
    boiler = told.boiler
    return {
        "boiler": boiler,
        "service": service_of(boiler.id, at),
        "values": told.values,
        "places": list(_places(request, told, forms, at)),
        "forms": forms.get("", []),
        "papers": seen.papers(boiler.building_id, [boiler.id]),
        "changes": history.of_boiler(boiler.id)[:RECENT],
        "as_of": at,
        "here": "register",
    }


def _places(
    request: HttpRequest, told: seen.BoilerSeen, forms: dict[str, list[Form]], at: datetime
) -> Iterator[dict[str, Any]]:
    """Yield each position; for users who may read visits, with what visits did since the register's last entry."""
    boiler, release = told.boiler, release_at(at)
    reads = policy.may(request.user, "visit.see", boiler.portfolio_id, boiler.building_id, at)
    since = {p.place.id: p.now.since if p.now else boiler.since for p in told.places}
    done = occupants.since(since, at) if reads else {}
    for one in told.places:
        yield {
            "seen": one,
            "role": release.roles.get(one.place.role),
            "kind": release.kinds.get(one.now.kind) if one.now else None,
            "forms": forms.get(str(one.place.id), []),
            "entry": done.get(one.place.id),
        }
