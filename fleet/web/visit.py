"""One visit: what was done in order and what it is worth, what was concluded, and whether the boiler may go back."""

from datetime import datetime
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from fleet.accounts import policy
from fleet.assessments import queries as assessments
from fleet.visits import queries as visits
from fleet.web import engineering
from fleet.web.pages import page


@page
def show(request: HttpRequest, at: datetime, visit_id: UUID) -> HttpResponse:
    """A visit to a boiler somebody may not see answers like one that does not exist."""
    seen = visits.to_boilers(policy.boilers(request.user, "visit.see", at))
    visit = get_object_or_404(seen, id=visit_id)
    lines = assessments.lines(visit.id, at)
    return render(
        request,
        "visit.html",
        {
            "visit": visit,
            "boiler": visit.boiler,
            "zone": visit.boiler.building.zone,
            "as_of": at,
            "lines": lines,
            "derived": engineering.of_visit(visit, lines),
            "findings": assessments.findings(visit.id),
            "readiness": assessments.readiness(visit.id),
            "waits": assessments.waiting(visit.boiler_id),
        },
    )
