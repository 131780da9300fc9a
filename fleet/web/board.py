"""The status board: which boilers need attention now, where, why, and who is on it. It is refreshed in place."""

from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import condition

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts import queries as alerts
from fleet.board import glasses, paged
from fleet.board import queries as board
from fleet.board.queries import Row
from fleet.calendar import day_of
from fleet.deficiencies import assigned
from fleet.jobs import onto
from fleet.pipeline.fresh import build
from fleet.portfolio.models import Portfolio
from fleet.web.glass import draw
from fleet.web.narrow import Narrow, text
from fleet.web.pages import page
from fleet.web.sheet import Line, address, lay_out


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the whole board page."""
    tag = _tag(request, at)  # read before anything else: a change while the page is built must make it stale
    return render(request, "board/page.html", {**_context(request, at), "tag": tag, "as_of": at, "here": "board"})


def _tag(request: HttpRequest, at: datetime) -> str:
    """Return an ETag over everything the rows depend on: while it is the same, the browser's copy is still valid."""
    user: Any = request.user
    boilers = policy.boilers(user, "board.see", at)
    granted = policy.grants(user, "board.see", at).order_by("id").values_list("id", "role", "portfolio", "building")
    # Proof glasses and job dates change by the local day of the building.
    days = sorted({day_of(at, zone) for zone in paged.zones(boilers)})
    # The sweep raises and returns "could not be judged" alerts without changing the pulse.
    asked = (Narrow.asked(request), _number(request))
    who = (user.pk, user.units, list(granted))
    seen = (build(), who, board.fingerprint(boilers, at), alerts.newest(boilers), days, asked)
    return f'"{sha256(repr(seen).encode()).hexdigest()}"'


@page
@condition(etag_func=_tag)
def rows(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the rows alone; 304 while nothing they depend on has changed."""
    return render(request, "board/rows.html", _context(request, at))


def _number(request: HttpRequest) -> int:
    """Return the requested page number, from 1; 1 if what was sent is not a number."""
    given = text(request, "page")
    return max(1, int(given)) if given.isdecimal() and len(given) < 7 else 1


def _context(request: HttpRequest, at: datetime) -> dict[str, Any]:
    user: Any = request.user
    own = policy.boilers(user, "board.see", at)
    asked = Narrow.asked(request)
    granted = list(policy.grants(user, "board.see", at).values_list("role", "portfolio", "building"))
    portfolios = list(Portfolio.objects.filter(id__in=own.order_by().values("portfolio")).order_by("name"))
    shown = paged.page(asked.boilers(own), at, _number(request), asked.standing)
    lines = _lines(user, shown.rows, granted, at)
    sheet = lay_out(lines, shown, asked, portfolios, paged.zones(own), at)
    return {"sheet": sheet, "granted": bool(granted), "asked": asked, "same": address(asked, shown.number)}


def _lines(user: User, rows: Sequence[Row], granted: Sequence[tuple[Any, ...]], at: datetime) -> list[Line]:
    ids = [row.boiler.id for row in rows]
    raised, drawn = alerts.open_counts(ids), glasses.of(ids)
    jobs, given = onto.of_boilers(user, ids, at), assigned.of_boilers(ids, at)
    makes, knows = (_where(granted, action) for action in ("job.create", "job.see"))
    lines = []
    for row in rows:
        boiler, zone = row.boiler, row.boiler.building.zone
        glass = draw(drawn.get(boiler.id), row.standing, zone, at)
        here = {(boiler.portfolio_id, None), (boiler.portfolio_id, boiler.building_id)}
        on = jobs.get(boiler.id), given.get(boiler.id)
        lines.append(Line(row, glass, raised.get(boiler.id, 0), *on, bool(makes & here), bool(knows & here)))
    return lines


def _where(granted: Sequence[tuple[Any, ...]], action: str) -> set[tuple[UUID, UUID | None]]:
    return {(portfolio, house) for role, portfolio, house in granted if role in policy.ACTIONS[action]}
