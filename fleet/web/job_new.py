"""Making a job: choose the building, check what the trip is to do, make it."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.db.models import Count, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.jobs import suggest
from fleet.pipeline import Asked
from fleet.portfolio.models import Building
from fleet.portfolio.news import Cause
from fleet.web.pages import page

MOST = 100  # buildings on one page; the search finds the rest
MOST_ITEMS = 60
LONGEST_NOTE = 2000


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the buildings that a job can be made for, or the trips suggested for one of them."""
    user: Any = request.user
    if not policy.grants(user, "job.create", at).exists():
        raise PermissionDenied
    if "building" in request.GET:
        house = _house(user, request.GET["building"], at)
        return render(request, "job_new.html", _of_building(house, at))
    return render(request, "job_new.html", _buildings(user, request.GET.get("q", "")[:100], at))


@require_POST
def make(request: HttpRequest) -> HttpResponse:
    """Make the job and go to it in the list of jobs; faults are shown above the trips."""
    user: Any = request.user
    if not user.is_authenticated:
        return redirect_to_login("/jobs/new/")
    at = timezone.now()
    house = _house(user, request.POST.get("building", ""), at)
    cause = Cause(who=user.get_username(), request_id=request.META.get("GAUGEGLASS_REQUEST_ID", ""))
    note = request.POST.get("note", "")[:LONGEST_NOTE].replace("\x00", "")
    try:
        asked = _asked(request.POST.getlist("item")[:MOST_ITEMS], note)
        job = pipeline.create_job(building=house.id, asked=asked, by=user, at=at, cause=cause)
    except Refused as refused:
        faults = [f.message for f in refused.faults]
        return render(request, "job_new.html", _of_building(house, at, faults), status=refused.status)
    except OperationalError:  # a lock was held too long: nothing was saved
        busy = ["Somebody else is working on this building just now. Try again in a moment."]
        return render(request, "job_new.html", _of_building(house, at, busy), status=503)
    return redirect(f"/jobs/#job-{job.id}")


def _open_to(user: User, at: datetime) -> QuerySet[Building]:
    boilers = policy.boilers(user, "job.create", at).order_by()
    return Building.objects.filter(id__in=boilers.values("building"))


def _house(user: User, text: str, at: datetime) -> Building:
    try:
        return _open_to(user, at).get(id=UUID(text))
    except (ValueError, Building.DoesNotExist):
        raise Http404 from None


def _buildings(user: User, asked: str, at: datetime) -> dict[str, Any]:
    """Return the buildings that match, those with most open deficiencies first."""
    unsettled = Q(
        boilers__deficiencies__closed_at=None,
        boilers__deficiencies__withdrawn=False,
        boilers__deficiencies__opened_at__lte=at,
    )
    told = Count("boilers__deficiencies", filter=unsettled)
    found = _open_to(user, at)
    if asked:
        found = found.filter(Q(address__icontains=asked) | Q(ref__icontains=asked))
    listed = list(found.annotate(unsettled=told).order_by("-unsettled", "address", "id")[: MOST + 1])
    return {"buildings": listed[:MOST], "more": len(listed) > MOST, "q": asked, "here": "jobs"}


def _of_building(house: Building, at: datetime, faults: Iterable[str] = ()) -> dict[str, Any]:
    told = {"building": house, "boilers": dict(house.boilers.values_list("id", "name")), "at": at, "here": "jobs"}
    return {**told, "trips": suggest.trips(house.id, at), "faults": list(faults)}


def _asked(tokens: Iterable[str], note: str) -> Asked:
    """Read the checked items: a deficiency's id, or a position's id and a procedure's code separated by a space."""
    deficiencies: list[UUID] = []
    procedures: list[tuple[UUID, str]] = []
    try:
        for token in tokens:
            first, _, code = token.partition(" ")
            if code:
                procedures.append((UUID(first), code))
            else:
                deficiencies.append(UUID(first))
    except ValueError:
        raise Refused("unknown", "There is no such thing in this building.", status=422) from None
    return Asked(deficiencies, procedures, note)
