"""What every answer carries: one request id from answer to log to change, and what a browser may load for it."""

import logging
import re
import time
from collections.abc import Callable
from typing import Any
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from fleet.logs import REQUEST_ID, discreet
from fleet.web.figures import BOTH, reader

_ACCEPTED = re.compile(r"[A-Za-z0-9._-]{8,64}")

# Nothing from outside and nothing inline: text that slipped past escaping could still run nothing.
CONTENT_POLICY = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
# The page of the API's description comes with scripts and styles inline, and shows nobody's data.
DESCRIPTION = "/api/docs/"
INLINE = "; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:"

log = logging.getLogger("fleet.requests")


class RequestIdMiddleware:
    """Takes over a well-formed X-Request-Id or makes one, gives it back with the answer, and tells the log of both."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Mark the request and its answer."""
        began = time.monotonic()
        sent = request.headers.get("X-Request-Id", "")
        taken = _ACCEPTED.fullmatch(sent) and discreet(sent) == sent  # a key sent as an id would stand in every log
        request_id = sent if taken else str(uuid4())
        request.META["GAUGEGLASS_REQUEST_ID"] = request_id
        token = REQUEST_ID.set(request_id)
        try:
            response = self.get_response(request)
            _tell(request, response, began)
        finally:
            REQUEST_ID.reset(token)
        response["X-Request-Id"] = request_id
        inline = INLINE if request.path == DESCRIPTION else ""
        response["Content-Security-Policy"] = CONTENT_POLICY + inline
        return response


class UnitsMiddleware:
    """Numbers on the pages follow the reader's choice; the person is looked up only where a number is shown."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer in the units of whoever asks."""
        with reader(lambda: getattr(request.user, "units", BOTH)):
            return self.get_response(request)


def _tell(request: HttpRequest, response: HttpResponse, began: float) -> None:
    """One line: no query, no header, no body, and no address that is a secret."""
    told = {
        "method": request.method,
        "path": discreet(request.path),
        "status": response.status_code,
        "milliseconds": round((time.monotonic() - began) * 1000, 1),
    }
    if user := _user(request):
        told["user"] = user
    log.info("answered", extra=told)


def _user(request: Any) -> str:
    """Whose request it was, where somebody asked: nobody is looked up for the log."""
    user = getattr(request, "_cached_user", None) or request.__dict__.get("user")
    known = user is not None and type(user) is not SimpleLazyObject and user.is_authenticated
    return str(user.pk) if known else ""
