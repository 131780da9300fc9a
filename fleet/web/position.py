"""All entries at one position of a boiler, in pages, newest first."""

from datetime import datetime
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from fleet.accounts import policy
from fleet.assessments import queries as assessments
from fleet.portfolio import queries as register
from fleet.visits.models import Entry
from fleet.web.pages import page

MOST = 50


@page
def show(request: HttpRequest, at: datetime, boiler_id: UUID, position_id: UUID) -> HttpResponse:
    """Show one page of entries; 404 if the user may not read the visits, or if the position is not the boiler's."""
    seen = policy.boilers(request.user, "visit.see", at).filter(id=boiler_id).select_related("building")
    boiler = get_object_or_404(seen)
    place = get_object_or_404(register.positions(seen), id=position_id)
    before = _before(request.GET.get("before", ""), position_id)
    lines = assessments.of_place(place.id, at, MOST + 1, before)
    told = {"boiler": boiler, "place": place, "zone": boiler.building.zone, "as_of": at, "begun": before is not None}
    shown = lines[:MOST]
    older = shown[-1].entry.id if len(lines) > MOST else None
    return render(request, "position.html", {**told, "lines": shown, "older": older})


def _before(text: str, place: UUID) -> Entry | None:
    if not text:
        return None
    try:
        return Entry.objects.get(id=UUID(text), position=place)
    except (ValueError, Entry.DoesNotExist):
        raise Http404 from None
