"""One boiler: its standing with all reasons, what to do, its positions, what is open, what time alone will bring."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from fleet.accounts import policy
from fleet.alerts import queries as alerts
from fleet.assessments import queries as assessments
from fleet.board import queries as board
from fleet.deficiencies import queries as deficiencies
from fleet.portfolio.models import Boiler
from fleet.visits import queries as visits
from fleet.web import engineering
from fleet.web.pages import page

RECENT = 10


@page
def show(request: HttpRequest, at: datetime, boiler_id: UUID) -> HttpResponse:
    """A boiler somebody may not see answers like one that does not exist."""
    seen = policy.boilers(request.user, "board.see", at).select_related("building__portfolio")
    boiler = get_object_or_404(seen, id=boiler_id)
    told = _told(boiler, at)
    past = _past(request.user, boiler, at, told)
    reckoned = engineering.numbers(boiler, at, past["may_read"])
    return render(request, "boiler.html", {"boiler": boiler, "as_of": at, **told, **past, "numbers": reckoned})


def _told(boiler: Boiler, at: datetime) -> dict[str, Any]:
    now, *later = board.course(boiler.id, at) or [None]
    places, unguarded = board.places(boiler.id, at)
    return {
        "now": now,
        "later": later,
        "places": places,
        "unguarded": unguarded,
        "open": deficiencies.open_of(boiler.id, at),
        "alerts": [*alerts.of_building(boiler.building_id), *alerts.open_of(boiler.id)],
    }


def _past(user: Any, boiler: Boiler, at: datetime, told: dict[str, Any]) -> dict[str, Any]:
    """Not everybody who sees the board may read what was done: for them nothing links there."""
    if not policy.may(user, "visit.see", boiler.portfolio_id, boiler.building_id, at):
        return {"may_read": False}
    recent = list(visits.recent(boiler.id, RECENT))
    ready = assessments.answers(v.id for v in recent)
    return {"may_read": True, "visits": recent, "ready": ready, "entries": visits.places(_entries(told))}


def _entries(told: dict[str, Any]) -> Iterator[UUID]:
    """The entries that reasons and deficiencies rest on."""
    reasons = [r for s in (told["now"], *told["later"]) if s for r in s.reasons]
    reasons += [p.segment.reason for p in told["places"]]
    yield from (UUID(r["entry"]) for r in reasons if r["entry"])
    yield from (o.row.opened_by_id for o in told["open"] if o.row.opened_by_id)
