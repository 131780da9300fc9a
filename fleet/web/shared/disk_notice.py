"""A full disk: what is sent by a form is refused before it is read, and every page says so."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from psycopg.errors import DiskFull

from fleet.records.disk_room import NO_ROOM_SENTENCE, has_room

SAFE_METHODS = ("GET", "HEAD", "OPTIONS", "TRACE")
# The API refuses in its own words. Signing in writes a few bytes, and without it nobody could view anything.
LET_THROUGH = ("/api/", "/sign-in/", "/sign-out/")
RETRY_SECONDS = "60"
DISK_NOTICE = (
    "The disk of the site is full: nothing is saved, and alerts and jobs are not updated, until there is room. "
    "Everything can be viewed."
)


class PageRoomMiddleware:
    """Answers 503 to what would be saved by a page while the disk is full. Pages are shown as ever."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request, or refuse it without touching the database."""
        may_pass = request.method in SAFE_METHODS or request.path.startswith(LET_THROUGH)
        return self.get_response(request) if may_pass or has_room() else _refuse_for_room()

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Answer 503 where the database itself found no room, as it may for a sign-in."""
        return _refuse_for_room() if isinstance(error.__cause__, DiskFull) else None


def _refuse_for_room() -> HttpResponse:
    response = HttpResponse(NO_ROOM_SENTENCE, status=503, content_type="text/plain; charset=utf-8")
    response["Retry-After"] = RETRY_SECONDS
    return response


def disk_notice() -> str:
    """Return the notice for every page while the disk is full, "" otherwise."""
    return "" if has_room() else DISK_NOTICE
