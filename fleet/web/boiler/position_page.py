"""All entries at one position of a boiler, in pages, newest first."""

from datetime import datetime
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.assessments import queries as assessments
from fleet.portfolio import queries as register
from fleet.visits.models import Entry
from fleet.web.shared.pages import signed_in_page

MAX_LINES = 50


@signed_in_page
def show_position(request: HttpRequest, at: datetime, boiler_id: UUID, position_id: UUID) -> HttpResponse:
    """Show one page of entries; 404 if the user may not read the visits, or if the position is not the boiler's."""
    visible_boilers = (
        policy.boilers_for(user_of(request), "visit.see", at).filter(id=boiler_id).select_related("building")
    )
    boiler = get_object_or_404(visible_boilers)
    place = get_object_or_404(register.positions_of(visible_boilers), id=position_id)
    before = _parse_before(request.GET.get("before", ""), position_id)
    lines = assessments.lines_of_place(place.id, at, MAX_LINES + 1, before)
    context = {"boiler": boiler, "place": place, "zone": boiler.building.zone, "as_of": at, "begun": before is not None}
    page_lines = lines[:MAX_LINES]
    older = page_lines[-1].entry.id if len(lines) > MAX_LINES else None
    return render(request, "boiler/position.html", {**context, "lines": page_lines, "older": older})


def _parse_before(text: str, place: UUID) -> Entry | None:
    if not text:
        return None
    try:
        return Entry.objects.get(id=UUID(text), position=place)
    except (ValueError, Entry.DoesNotExist):
        raise Http404 from None
