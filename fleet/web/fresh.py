"""Data older than it should be says so: whether the worker goes round, asked by every page and by pages left open."""

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
    """One sentence, or nothing where all is as it should be."""
    return HttpResponse(words(at), content_type="text/plain; charset=utf-8")


def words(at: datetime) -> str:
    """What to say of a worker that stands still; nothing where it runs, or where this process could not know."""
    last = swept.last()
    if last is None:
        return f"The worker is not known to run. {MEANS}" if _shared() else ""
    return f"The worker stands still since {moment(last, 'UTC')}. {MEANS}" if at - last > LATE else ""


def _shared() -> bool:
    """In memory of its own a process hears of no sweep."""
    return "locmem" not in settings.CACHES["default"]["BACKEND"].lower()
