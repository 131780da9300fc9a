"""A notice on every page when the worker has stopped; open pages ask for it again by themselves."""

from datetime import datetime

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from fleet.board import swept
from fleet.web.pages import page
from fleet.web.self_check import LATE
from fleet.web.templatetags.said import moment

MEANS = "Alerts and jobs do not move until it goes on, and what time alone brings is missing here."


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Send the notice as plain text; empty if the worker runs."""
    return HttpResponse(words(at), content_type="text/plain; charset=utf-8")


def words(at: datetime) -> str:
    """Return the notice if the worker has stopped; "" if it runs, or if this process cannot know."""
    last = swept.last()
    if last is None:
        return f"The worker is not known to run. {MEANS}" if _shared() else ""
    return f"The worker stands still since {moment(last, 'UTC')}. {MEANS}" if at - last > LATE else ""


def _shared() -> bool:
    """Return whether the cache is shared: with a cache in its own memory a process never hears of a sweep."""
    return "locmem" not in settings.CACHES["default"]["BACKEND"].lower()
