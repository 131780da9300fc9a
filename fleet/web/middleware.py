"""One request id from answer to log to change."""

import re
from collections.abc import Callable
from uuid import uuid4

from django.http import HttpRequest, HttpResponse

_ACCEPTED = re.compile(r"[A-Za-z0-9._-]{8,64}")


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
        return response
