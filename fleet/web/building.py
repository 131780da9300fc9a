"""One building for its manager: boilers, open deficiencies, next dates, visits, access, contacts, papers and jobs."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts import queries as alerts
from fleet.assessments import queries as assessments
from fleet.board import forecast, glasses
from fleet.board import queries as board
from fleet.board.models import StateSegment
from fleet.board.queries import Row
from fleet.calendar import day_of
from fleet.deficiencies import listed
from fleet.deficiencies.queries import Shown
from fleet.jobs import contacts, onto, states
from fleet.jobs import queries as jobs
from fleet.portfolio import seen
from fleet.portfolio.models import Boiler, Building
from fleet.visits import queries as visits
from fleet.web.glass import Drawn, draw
from fleet.web.pages import page

RECENT = 10
SOON = 8  # forecast steps shown
MOST = 20  # open deficiencies shown; the list page has the rest


@dataclass(frozen=True, slots=True)
class BoilerLine:
    """A boiler with its board row, its proof glass, and how many alerts are raised on it."""

    boiler: Boiler
    row: Row | None
    glass: Drawn | None
    alerts: int


@dataclass(frozen=True, slots=True)
class Step:
    """Positions of one boiler that become due or lapsed at the same instant."""

    at: datetime
    boiler: str
    state: str
    places: list[str]


@page
def show(request: HttpRequest, at: datetime, building_id: UUID) -> HttpResponse:
    """Show the page of one building; 404 if the user may not see any of its boilers."""
    user: Any = request.user
    own = policy.boilers(user, "board.see", at).filter(building=building_id)
    boilers = list(own.select_related("building__portfolio").order_by("name", "ref"))
    if not boilers:
        raise Http404
    building = boilers[0].building
    context = {"building": building, "as_of": at, "here": "board", "boilers": _boilers(boilers, at)}
    context |= _ahead(building, boilers, at) | _open(user, boilers, at)
    context |= _past(user, building, boilers, at) | _work(user, building, at)
    read = boilers if context["may_read"] else []
    context["people"] = contacts.of_building(building, read, context["jobs"], at)
    return render(request, "building.html", context)


def _boilers(boilers: list[Boiler], at: datetime) -> list[BoilerLine]:
    """Return one line for each boiler, worst first."""
    ids = [b.id for b in boilers]
    rows = {r.boiler.id: r for r in board.rows(Boiler.objects.filter(id__in=ids), at)}
    drawn, raised = glasses.of(ids), alerts.open_counts(ids)
    lines = []
    for boiler in boilers:
        row = rows.get(boiler.id)
        glass = draw(drawn.get(boiler.id), row.standing, boiler.building.zone, at) if row else None
        lines.append(BoilerLine(boiler, row, glass, raised.get(boiler.id, 0)))
    return sorted(lines, key=lambda n: n.row.rank if n.row else 99)


def _open(user: User, boilers: Iterable[Boiler], at: datetime) -> dict[str, Any]:
    rows = listed.of_status(listed.listed(Boiler.objects.filter(id__in=[b.id for b in boilers]), at), "open", at)
    found: list[Any] = list(rows.select_related("boiler", "position").order_by("rank", "opened_at", "id")[: MOST + 1])
    told: list[Shown] = listed.shown(found[:MOST], at)
    asking = onto.of_deficiencies(user, [one.row.id for one in told], at)
    return {"deficiencies": [(one, asking.get(one.row.id)) for one in told], "more_open": len(found) > MOST}


def _ahead(building: Building, boilers: Iterable[Boiler], at: datetime) -> dict[str, Any]:
    """Return what comes due or lapses next if nobody does anything, and the papers with their last days."""
    ids = [b.id for b in boilers]
    steps = _steps(forecast.steps_of(Boiler.objects.filter(id__in=ids), at), {b.id: b.name for b in boilers})
    today = day_of(at, building.zone)
    papers = [(paper, paper.until < today) for paper in seen.papers(building.id, ids)]
    return {"steps": steps[:SOON], "more_steps": max(0, len(steps) - SOON), "papers": papers}


def _steps(segments: Iterable[StateSegment], names: dict[UUID, str]) -> list[Step]:
    """Group the forecast by boiler, instant and state."""
    found: dict[tuple[datetime, UUID, str], Step] = {}
    for one in segments:
        assert one.since is not None
        step = Step(one.since, names[one.boiler_id], one.state, [])
        found.setdefault((one.since, one.boiler_id, one.state), step).places.append(one.position.name)
    return list(found.values())


def _past(user: User, building: Building, boilers: Iterable[Boiler], at: datetime) -> dict[str, Any]:
    """Return the recent visits, for users who may read them."""
    if not policy.may(user, "visit.see", building.portfolio_id, building.id, at):
        return {"may_read": False}
    found = visits.to_boilers(Boiler.objects.filter(id__in=[b.id for b in boilers]))
    recent = list(found.order_by("-performed_at", "-id")[:RECENT])
    return {"may_read": True, "visits": recent, "ready": assessments.answers(v.id for v in recent)}


def _work(user: User, building: Building, at: datetime) -> dict[str, Any]:
    rows = jobs.listed(jobs.seen(user, at).filter(building=building).exclude(status__in=states.OVER))
    here = (building.portfolio_id, building.id, at)
    return {
        "jobs": jobs.all_shown(rows, at),
        "may_make": policy.may(user, "job.create", *here),
        "may_change": policy.may(user, "register.change", *here),
    }
