"""What every answer carries: one request id from answer to log to change, and what a browser may load for it."""

import re
from collections.abc import Callable
from uuid import uuid4

from django.http import HttpRequest, HttpResponse

_ACCEPTED = re.compile(r"[A-Za-z0-9._-]{8,64}")

# Nothing from outside and nothing inline: text that slipped past escaping could still run nothing.
CONTENT_POLICY = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
# The page of the API's description comes with scripts and styles inline, and shows nobody's data.
DESCRIPTION = "/api/docs/"
INLINE = "; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:"


class RequestIdMiddleware:
    """Takes over a well-formed X-Request-Id or makes one, and gives it back with the answer."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Mark the request and its answer."""
        sent = request.headers.get("X-Request-Id", "")
        request_id = sent if _ACCEPTED.fullmatch(sent) else str(uuid4())
        request.META["GAUGEGLASS_REQUEST_ID"] = request_id
        response = self.get_response(request)
        response["X-Request-Id"] = request_id
        inline = INLINE if request.path == DESCRIPTION else ""
        response["Content-Security-Policy"] = CONTENT_POLICY + inline
        return response
