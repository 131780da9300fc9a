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
from fleet.accounts.requests import user_of
from fleet.alerts import queries as alerts
from fleet.assessments import queries as assessments
from fleet.board import glasses
from fleet.board import queries as board
from fleet.board.models import StateSegment
from fleet.board.queries import BoardRow
from fleet.calendar import day_of
from fleet.deficiencies import deficiency_lists
from fleet.deficiencies.queries import DeficiencyDetail
from fleet.figures import forecast
from fleet.jobs import contacts, current_job, states
from fleet.jobs import queries as jobs
from fleet.jobs.calls import count_flats, visible_calls
from fleet.portfolio.models import Boiler, Building
from fleet.sheets import register_views
from fleet.visits import queries as visits
from fleet.web.shared.glass import GlassDrawing, draw_glass
from fleet.web.shared.pages import signed_in_page

RECENT_COUNT = 10
MAX_STEPS = 8  # forecast steps shown
MAX_CALLS = 20  # calls shown whose job is open
_OPEN_STATUSES = sorted(set(states.STATUSES) - states.OVER)
MAX_DEFICIENCIES = 20  # open deficiencies shown; the list page has the rest


@dataclass(frozen=True, slots=True)
class BoilerLine:
    """A boiler with its board row, its proof glass, and how many alerts are raised on it."""

    boiler: Boiler
    row: BoardRow | None
    glass: GlassDrawing | None
    alerts: int


@dataclass(frozen=True, slots=True)
class ForecastStep:
    """Positions of one boiler that become due or lapsed at the same instant."""

    at: datetime
    boiler: str
    state: str
    places: list[str]


@signed_in_page
def show_building(request: HttpRequest, at: datetime, building_id: UUID) -> HttpResponse:
    """Show the page of one building; 404 if the user may not see any of its boilers."""
    user = user_of(request)
    visible_boilers = policy.boilers_for(user, "board.see", at).filter(building=building_id)
    boilers = list(visible_boilers.select_related("building__portfolio").order_by("name", "ref"))
    if not boilers:
        raise Http404
    building = boilers[0].building
    context: dict[str, Any] = {
        "building": building,
        "as_of": at,
        "here": "board",
        "boilers": _boiler_lines(boilers, at),
    }
    context |= _forecast_context(building, boilers, at) | _deficiency_context(user, boilers, at)
    context |= _visit_context(user, building, boilers, at) | _job_context(user, building, at)
    readable_boilers = boilers if context["may_read"] else []
    context["people"] = contacts.building_contacts(building, readable_boilers, context["jobs"], at)
    return render(request, "boiler/building.html", context)


def _boiler_lines(boilers: list[Boiler], at: datetime) -> list[BoilerLine]:
    """Return one line for each boiler, worst first."""
    ids = [b.id for b in boilers]
    rows = {r.boiler.id: r for r in board.board_rows(Boiler.objects.filter(id__in=ids), at)}
    glass_by_boiler, alert_counts = glasses.glasses_of(ids), alerts.open_counts(ids)
    lines = []
    for boiler in boilers:
        row = rows.get(boiler.id)
        glass = draw_glass(glass_by_boiler.get(boiler.id), row.standing, boiler.building.zone, at) if row else None
        lines.append(BoilerLine(boiler, row, glass, alert_counts.get(boiler.id, 0)))
    return sorted(lines, key=lambda n: n.row.rank if n.row else 99)


def _deficiency_context(user: User, boilers: Iterable[Boiler], at: datetime) -> dict[str, object]:
    rows = deficiency_lists.rows_of_status(
        deficiency_lists.deficiencies_at(Boiler.objects.filter(id__in=[b.id for b in boilers]), at), "open", at
    )
    fetched_rows: list[Any] = list(
        rows.select_related("boiler", "position").order_by("rank", "opened_at", "id")[: MAX_DEFICIENCIES + 1]  # type: ignore[misc]
    )
    deficiencies: list[DeficiencyDetail] = deficiency_lists.deficiency_details(fetched_rows[:MAX_DEFICIENCIES], at)
    jobs_by_deficiency = current_job.current_jobs_of_deficiencies(
        user, [deficiency.row.id for deficiency in deficiencies], at
    )
    return {
        "deficiencies": [(deficiency, jobs_by_deficiency.get(deficiency.row.id)) for deficiency in deficiencies],
        "more_open": len(fetched_rows) > MAX_DEFICIENCIES,
    }


def _forecast_context(building: Building, boilers: Iterable[Boiler], at: datetime) -> dict[str, object]:
    """Return what comes due or lapses next if nobody does anything, and the papers with their last days."""
    ids = [b.id for b in boilers]
    steps = _combine_steps(forecast.steps_of(Boiler.objects.filter(id__in=ids), at), {b.id: b.name for b in boilers})
    today = day_of(at, building.zone)
    papers = [(paper, paper.until < today) for paper in register_views.papers_by_end(building.id, ids)]
    return {"steps": steps[:MAX_STEPS], "more_steps": max(0, len(steps) - MAX_STEPS), "papers": papers}


def _combine_steps(segments: Iterable[StateSegment], names: dict[UUID, str]) -> list[ForecastStep]:
    """Group the forecast by boiler, instant and state."""
    step_by_key: dict[tuple[datetime, UUID, str], ForecastStep] = {}
    for segment in segments:
        assert segment.since is not None
        step = ForecastStep(segment.since, names[segment.boiler_id], segment.state, [])
        step_by_key.setdefault((segment.since, segment.boiler_id, segment.state), step).places.append(
            segment.position.name
        )
    return list(step_by_key.values())


def _visit_context(user: User, building: Building, boilers: Iterable[Boiler], at: datetime) -> dict[str, object]:
    """Return the recent visits, for users who may read them."""
    if not policy.is_allowed(user, "visit.see", portfolio=building.portfolio_id, building=building.id, at=at):
        return {"may_read": False}
    building_visits = visits.visits_to(Boiler.objects.filter(id__in=[b.id for b in boilers]))
    recent = list(building_visits.order_by("-performed_at", "-id")[:RECENT_COUNT])
    return {"may_read": True, "visits": recent, "ready": assessments.readiness_answers(v.id for v in recent)}


def _job_context(user: User, building: Building, at: datetime) -> dict[str, object]:
    rows = jobs.with_details(jobs.visible_jobs(user, at).filter(building=building).exclude(status__in=states.OVER))
    building_scope = (building.portfolio_id, building.id, at)
    calls = list(visible_calls(user, at).filter(building=building, job__status__in=_OPEN_STATUSES)[:MAX_CALLS])
    return {
        "calls": calls,
        "flats": count_flats([call for call in calls if call.kind == "no_heat"]),
        "jobs": jobs.job_details(rows, at),
        "may_make": policy.is_allowed(user, "job.create", *building_scope),
        "may_change": policy.is_allowed(user, "register.change", *building_scope),
    }
