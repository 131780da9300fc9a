"""The status board: which boilers need attention now, where, why, and who is on it. It is refreshed in place."""

from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import condition

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import user_of
from fleet.alerts import queries as alerts
from fleet.board import board_pages, glasses
from fleet.board import queries as board
from fleet.board.queries import BoardRow
from fleet.calendar import day_of
from fleet.deficiencies import assignments
from fleet.jobs import current_job
from fleet.portfolio.models import Portfolio
from fleet.reading.cache_validity import build_digest
from fleet.web.board.row_lines import BoardLine, board_query, lay_out_board
from fleet.web.shared.boiler_filter import BoilerFilter, query_text
from fleet.web.shared.glass import draw_glass
from fleet.web.shared.naming import is_asked_for_a_visit
from fleet.web.shared.pages import signed_in_page

GrantedScope = tuple[str, UUID, UUID | None]  # role, portfolio, and the building where it is for one alone


@signed_in_page
def show_board(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the whole board page."""
    tag = _board_etag(request, at)  # read before anything else: a change while the page is built must make it stale
    return render(
        request,
        "board/board.html",
        {
            **_board_context(request, at),
            "is_named": is_asked_for_a_visit(user_of(request), at),
            "tag": tag,
            "as_of": at,
            "here": "board",
        },
    )


def _board_etag(request: HttpRequest, at: datetime) -> str:
    """Return an ETag over everything the rows depend on: while it is the same, the browser's copy is still valid."""
    user = user_of(request)
    boilers = policy.boilers_for(user, "board.see", at)
    grants = policy.grants_for(user, "board.see", at).order_by("id").values_list("id", "role", "portfolio", "building")
    # Proof glasses and job dates change by the local day of the building.
    days = sorted({day_of(at, zone) for zone in board_pages.zones_of(boilers)})
    # The sweep raises and returns "could not be judged" alerts without changing the pulse.
    page_request = (BoilerFilter.from_request(request), _page_number(request))
    reader_key = (user.pk, user.units, list(grants))
    dependencies = (
        build_digest(),
        reader_key,
        board.board_fingerprint(boilers, at),
        alerts.newest_instants(boilers),
        days,
        page_request,
    )
    return f'"{sha256(repr(dependencies).encode()).hexdigest()}"'


@signed_in_page
@condition(etag_func=_board_etag)
def show_board_rows(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the rows alone; 304 while nothing they depend on has changed."""
    return render(request, "board/rows.html", _board_context(request, at))


def _page_number(request: HttpRequest) -> int:
    """Return the requested page number, from 1; 1 if what was sent is not a number."""
    digits = query_text(request, "page")
    return max(1, int(digits)) if digits.isdecimal() and len(digits) < 7 else 1


def _board_context(request: HttpRequest, at: datetime) -> dict[str, object]:
    user = user_of(request)
    visible_boilers = policy.boilers_for(user, "board.see", at)
    boiler_filter = BoilerFilter.from_request(request)
    grants = list(policy.grants_for(user, "board.see", at).values_list("role", "portfolio", "building"))
    portfolios = list(Portfolio.objects.filter(id__in=visible_boilers.order_by().values("portfolio")).order_by("name"))
    board_page = board_pages.board_page(
        boiler_filter.filter_boilers(visible_boilers), at, _page_number(request), boiler_filter.standing
    )
    lines = _board_lines(user, board_page.rows, grants, at)
    sheet = lay_out_board(
        lines,
        board_page,
        boiler_filter=boiler_filter,
        portfolios=portfolios,
        zones=board_pages.zones_of(visible_boilers),
        at=at,
    )
    return {
        "sheet": sheet,
        "granted": bool(grants),
        "asked": boiler_filter,
        "same": board_query(boiler_filter, board_page.number),
    }


def _board_lines(user: User, rows: Sequence[BoardRow], grants: Sequence[GrantedScope], at: datetime) -> list[BoardLine]:
    ids = [row.boiler.id for row in rows]
    alert_counts, glass_by_boiler = alerts.open_counts(ids), glasses.glasses_of(ids)
    jobs = current_job.current_jobs_of_boilers(user, ids, at)
    assignments_by_boiler = assignments.assignments_by_boiler(ids, at)
    job_makers, job_viewers = (_granted_scopes(grants, action) for action in ("job.create", "job.see"))
    lines = []
    for row in rows:
        boiler, zone = row.boiler, row.boiler.building.zone
        glass = draw_glass(glass_by_boiler.get(boiler.id), row.standing, zone, at)
        scopes = {(boiler.portfolio_id, None), (boiler.portfolio_id, boiler.building_id)}
        counted_alerts, job = alert_counts.get(boiler.id, 0), jobs.get(boiler.id)
        may_make, may_view = bool(job_makers & scopes), bool(job_viewers & scopes)
        line = row, glass, counted_alerts, job, assignments_by_boiler.get(boiler.id), may_make, may_view
        lines.append(BoardLine(*line))
    return lines


def _granted_scopes(grants: Sequence[GrantedScope], action: str) -> set[tuple[UUID, UUID | None]]:
    return {(portfolio, building) for role, portfolio, building in grants if role in policy.ACTIONS[action]}
