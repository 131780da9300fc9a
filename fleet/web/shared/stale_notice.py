"""A notice on every page when the disk is full or the worker stopped; open pages ask for it again by themselves."""

from datetime import datetime

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from fleet.board import sweep_heartbeat
from fleet.web.shared.disk_notice import disk_notice
from fleet.web.shared.local_times import day_and_time
from fleet.web.shared.pages import signed_in_page
from fleet.web.shared.self_check import LATE_AFTER

CONSEQUENCE = (
    "Until it runs again, alerts and jobs are not updated, and changes that come from time alone are missing here."
)


@signed_in_page
def show_stale_notice(request: HttpRequest, at: datetime) -> HttpResponse:
    """Send the notice as plain text; empty if the worker runs and has room."""
    return HttpResponse(site_notice(at), content_type="text/plain; charset=utf-8")


def site_notice(at: datetime) -> str:
    """Return the notice for every page: about the disk, for want of which no sweep runs either, or about the worker."""
    return disk_notice() or worker_notice(at)


def worker_notice(at: datetime) -> str:
    """Return the notice if the worker has stopped; "" if it runs, or if this process cannot know."""
    last = sweep_heartbeat.last_sweep_at()
    if last is None:
        return f"The worker is not known to run. {CONSEQUENCE}" if _has_shared_cache() else ""
    return f"The worker has not run since {day_and_time(last, 'UTC')}. {CONSEQUENCE}" if at - last > LATE_AFTER else ""


def _has_shared_cache() -> bool:
    """Return whether the cache is shared: with a cache in its own memory a process never hears of a sweep."""
    return "locmem" not in settings.CACHES["default"]["BACKEND"].lower()
