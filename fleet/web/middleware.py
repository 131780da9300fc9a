"""Middleware: one request id for response, log and changes; the content security policy; the reader's units."""

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

# Nothing from other sites and nothing inline: a script in unescaped text cannot run.
CONTENT_POLICY = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
# The page of the API description has inline scripts and styles, and shows no user data.
DESCRIPTION = "/api/docs/"
INLINE = "; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:"

log = logging.getLogger("fleet.requests")


class RequestIdMiddleware:
    """Accepts a well-formed X-Request-Id or makes one, returns it with the response, and logs the request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Give the request and its response their id, and the response its content security policy."""
        began = time.monotonic()
        sent = request.headers.get("X-Request-Id", "")
        taken = _ACCEPTED.fullmatch(sent) and discreet(sent) == sent  # a key sent as an id would be in every log
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
    """Shows numbers in the units the user chose; the user is looked up only when a number is shown."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer in the units of the user."""
        with reader(lambda: getattr(request.user, "units", BOTH)):
            return self.get_response(request)


def _tell(request: HttpRequest, response: HttpResponse, began: float) -> None:
    """Log one line for the request: no query, no headers, no body, and no secret address."""
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
    """Return the user's id if the user was already looked up; "" otherwise. The log itself looks up nobody."""
    user = getattr(request, "_cached_user", None) or request.__dict__.get("user")
    known = user is not None and type(user) is not SimpleLazyObject and user.is_authenticated
    return str(user.pk) if known else ""
