"""A notice on every page when the disk is full or the worker stopped; open pages ask for it again by themselves.

A board also says which of its conclusions are behind, whether or not the worker runs.
"""

from datetime import datetime

from django.conf import settings
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import user_of
from fleet.board import queries as board
from fleet.board import sweep_heartbeat
from fleet.heartbeats.services import LATE_AFTER, SWEEP, read_heartbeats
from fleet.web.shared.disk_notice import disk_notice
from fleet.web.shared.local_times import day_and_time
from fleet.web.shared.pages import signed_in_page

ONE_BEHIND = "Its alerts, jobs and list of changes are not up to date. Its standing is: it follows the dates by itself."
MANY_BEHIND = (
    "Their alerts, jobs and lists of changes are not up to date. "
    "Their standings are: they follow the dates by themselves."
)
BOARD = "board"  # what a page that shows standings asks about
CONSEQUENCE = (
    "Until it runs again, alerts and jobs are not updated, and changes that come from time alone are missing here."
)


@signed_in_page
def show_stale_notice(request: HttpRequest, at: datetime) -> HttpResponse:
    """Send the notice as plain text; empty if the worker runs and has room, and on a board if nothing is behind."""
    is_of_board = request.GET.get("of") == BOARD
    notice = board_notice(user_of(request), at) if is_of_board else site_notice(at)
    return HttpResponse(notice, content_type="text/plain; charset=utf-8")


def site_notice(at: datetime) -> str:
    """Return the notice for every page: about the disk, for want of which no sweep runs either, or about the worker."""
    return disk_notice() or worker_notice(at)


def board_notice(user: User, at: datetime) -> str:
    """Return the notice for a board: that of every page, and which conclusions of the boilers on it are behind."""
    return " ".join(notice for notice in (site_notice(at), _behind_notice(user, at)) if notice)


def _behind_notice(user: User, at: datetime) -> str:
    """Return what is not up to date where a boundary passed over two minutes ago and nobody judged since; else ""."""
    boilers = policy.boilers_for(user, "board.see", at)
    count, oldest = board.passed_boundaries(boilers, at - LATE_AFTER - datetime.resolution)
    if oldest is None:
        return ""
    passed_at = day_and_time(oldest, "UTC")
    if count == 1:
        return f"1 boiler here has not been judged since a date passed on {passed_at}. {ONE_BEHIND}"
    return f"{count} boilers here have not been judged since a date passed, the first on {passed_at}. {MANY_BEHIND}"


def worker_notice(at: datetime) -> str:
    """Return the notice if the worker has stopped; "" if it runs, or if this process cannot know."""
    last = sweep_heartbeat.last_sweep_at() or (_sweep_on_record() if _has_shared_cache() else None)
    if last is None:
        return f"The worker is not known to run. {CONSEQUENCE}" if _has_shared_cache() else ""
    return f"The worker has not run since {day_and_time(last, 'UTC')}. {CONSEQUENCE}" if at - last > LATE_AFTER else ""


def _sweep_on_record() -> datetime | None:
    """Return the last sweep that the database knows of, for while the cache was wiped or does not answer.

    The cache comes first, since every page asks.
    """
    try:
        swept = read_heartbeats().get(SWEEP)
    except DatabaseError:
        return None
    return swept.seen_at if swept else None


def _has_shared_cache() -> bool:
    """Return whether the cache is shared: with a cache in its own memory a process never hears of a sweep."""
    return "locmem" not in settings.CACHES["default"]["BACKEND"].lower()
