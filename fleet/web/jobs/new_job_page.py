"""Making a job: choose the building, check what the trip is to do, make it."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import OperationalError
from django.db.models import Count, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import cause_of, user_of
from fleet.errors import Refused
from fleet.jobs import suggest
from fleet.pipeline import JobRequest
from fleet.portfolio.models import Building
from fleet.web.shared.pages import signed_in_action, signed_in_page

MAX_BUILDINGS = 100  # buildings on one page; the search finds the rest
MAX_ITEMS = 60
MAX_NOTE_LENGTH = 2000


@signed_in_page
def show_new_job(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the buildings that a job can be made for, or the trips suggested for one of them."""
    user = user_of(request)
    if not policy.grants_for(user, "job.create", at).exists():
        raise PermissionDenied
    if "building" in request.GET:
        building = find_building(user, request.GET["building"], at)
        return render(request, "jobs/new_job.html", _trip_context(building, at))
    return render(request, "jobs/new_job.html", building_list_context(user, request.GET.get("q", "")[:100], at))


@signed_in_action("/jobs/new/")
def make_job(request: HttpRequest, at: datetime) -> HttpResponse:
    """Make the job and go to it in the list of jobs; faults are shown above the trips."""
    user = user_of(request)
    building = find_building(user, request.POST.get("building", ""), at)
    cause = cause_of(request)
    note = request.POST.get("note", "")[:MAX_NOTE_LENGTH]
    try:
        job_request = _read_job_request(request.POST.getlist("item")[:MAX_ITEMS], note)
        job = pipeline.create_job(building=building.id, request=job_request, by=user, at=at, cause=cause)
    except Refused as refused:
        faults = [f.message for f in refused.faults]
        return render(request, "jobs/new_job.html", _trip_context(building, at, faults), status=refused.status)
    except OperationalError:  # a lock was held too long: nothing was saved
        busy = ["Somebody else is working on this building right now. Try again in a moment."]
        return render(request, "jobs/new_job.html", _trip_context(building, at, busy), status=503)
    return redirect(f"/jobs/#job-{job.id}")


def _buildings_open_to(user: User, at: datetime) -> QuerySet[Building]:
    boilers = policy.boilers_for(user, "job.create", at).order_by()
    return Building.objects.filter(id__in=boilers.values("building"))


def find_building(user: User, text: str, at: datetime) -> Building:
    """Return a building the user may make jobs for. Raises Http404 for any other."""
    try:
        return _buildings_open_to(user, at).get(id=UUID(text))
    except (ValueError, Building.DoesNotExist):
        raise Http404 from None


def building_list_context(user: User, search_text: str, at: datetime) -> dict[str, object]:
    """Return the buildings that match, those with most open deficiencies first."""
    open_deficiency = Q(
        boilers__deficiencies__closed_at=None,
        boilers__deficiencies__withdrawn=False,
        boilers__deficiencies__opened_at__lte=at,
    )
    open_count = Count("boilers__deficiencies", filter=open_deficiency)
    buildings = _buildings_open_to(user, at)
    if search_text:
        buildings = buildings.filter(Q(address__icontains=search_text) | Q(ref__icontains=search_text))
    building_list = list(
        buildings.annotate(unsettled=open_count).order_by("-unsettled", "address", "id")[: MAX_BUILDINGS + 1]
    )
    return {
        "buildings": building_list[:MAX_BUILDINGS],
        "more": len(building_list) > MAX_BUILDINGS,
        "q": search_text,
        "here": "jobs",
    }


def _trip_context(building: Building, at: datetime, faults: Iterable[str] = ()) -> dict[str, object]:
    context = {
        "building": building,
        "boilers": dict(building.boilers.values_list("id", "name")),
        "at": at,
        "here": "jobs",
    }
    return {**context, "trips": suggest.suggest_trips(building.id, at), "faults": list(faults)}


def _read_job_request(tokens: Iterable[str], note: str) -> JobRequest:
    """Read the checked items: a deficiency's id, or a position's id and a procedure's code separated by a space."""
    deficiencies: list[UUID] = []
    procedures: list[tuple[UUID, str]] = []
    try:
        for token in tokens:
            id_text, _, code = token.partition(" ")
            if code:
                procedures.append((UUID(id_text), code))
            else:
                deficiencies.append(UUID(id_text))
    except ValueError:
        raise Refused("unknown", "Not found in this building.", status=422) from None
    return JobRequest(deficiencies, procedures, note)
