"""The status board: what needs somebody now, in which building and why; refreshed in place."""

from datetime import datetime
from hashlib import sha256
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import condition

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts import queries as alerts
from fleet.board import queries as board
from fleet.pipeline.fresh import build
from fleet.web.pages import page
from fleet.web.sheet import lay_out


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """The whole page."""
    return render(request, "board/page.html", {**_context(request.user, at), "as_of": at, "here": "board"})


def _tag(request: HttpRequest, at: datetime) -> str:
    """Everything the rows depend on: when none of it moved, the browser's copy still holds."""
    user: Any = request.user
    boilers = policy.boilers(user, "board.see", at)
    granted = policy.grants(user, "board.see", at).order_by("id").values_list("id", "role", "portfolio", "building")
    # The sweep raises and returns "could not be judged" without a pulse of its own.
    seen = (build(), user.pk, list(granted), board.fingerprint(boilers, at), alerts.newest(boilers))
    return f'"{sha256(repr(seen).encode()).hexdigest()}"'


@page
@condition(etag_func=_tag)
def rows(request: HttpRequest, at: datetime) -> HttpResponse:
    """The rows alone, 304 while nothing they depend on has moved."""
    return render(request, "board/rows.html", _context(request.user, at))


def _context(user: User | Any, at: datetime) -> dict[str, Any]:
    boilers = policy.boilers(user, "board.see", at)
    found = board.rows(boilers, at)
    granted = bool(found) or policy.grants(user, "board.see", at).exists()
    return {"sheet": lay_out(found, alerts.open_counts(boilers)), "granted": granted}
