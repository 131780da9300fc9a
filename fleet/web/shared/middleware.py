"""Middleware: one request id for response, log and changes; the content security policy; the reader's units."""

import logging
import re
import time
from collections.abc import Callable
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from fleet.accounts.address import address_of, is_named_proxy
from fleet.logs import REQUEST_ID, redact_secrets
from fleet.web.shared.number_format import BOTH_UNITS, use_units

HANDED_ON = "GAUGEGLASS_HANDED_ON"  # in META: somebody in front wrote a scheme, which was dropped
_REQUEST_ID_PATTERN = re.compile(r"[A-Za-z0-9._-]{8,64}")

# Nothing from other sites and nothing inline: a script in unescaped text cannot run.
CONTENT_POLICY = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
# The page of the API description has inline scripts and styles, and shows no user data.
API_DOCS_PATH = "/api/docs/"
INLINE_POLICY = "; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:"

log = logging.getLogger("fleet.requests")


class ForwardedSchemeMiddleware:
    """Drops X-Forwarded-Proto from whoever is no named proxy: the site would take a plain connection for HTTPS."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request without a scheme that anybody could have written."""
        is_believed = is_named_proxy(str(request.META.get("REMOTE_ADDR", "")))
        if not is_believed and request.META.pop("HTTP_X_FORWARDED_PROTO", None) is not None:
            request.META[HANDED_ON] = "1"
        return self.get_response(request)


class RequestIdMiddleware:
    """Accepts a well-formed X-Request-Id or makes one, returns it with the response, and logs the request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Give the request and its response their id, and the response its content security policy."""
        started_at = time.monotonic()
        sent_id = request.headers.get("X-Request-Id", "")
        is_accepted = (
            _REQUEST_ID_PATTERN.fullmatch(sent_id) and redact_secrets(sent_id) == sent_id
        )  # a key sent as an id would be in every log
        request_id = sent_id if is_accepted else str(uuid4())
        request.META["GAUGEGLASS_REQUEST_ID"] = request_id
        token = REQUEST_ID.set(request_id)
        try:
            response = self.get_response(request)
            _log_request(request, response, started_at)
        finally:
            REQUEST_ID.reset(token)
        response["X-Request-Id"] = request_id
        inline = INLINE_POLICY if request.path == API_DOCS_PATH else ""
        response["Content-Security-Policy"] = CONTENT_POLICY + inline
        return response


class UnitsMiddleware:
    """Shows numbers in the units the user chose; the user is looked up only when a number is shown."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer in the units of the user."""
        with use_units(lambda: getattr(request.user, "units", BOTH_UNITS)):
            return self.get_response(request)


def _log_request(request: HttpRequest, response: HttpResponse, started_at: float) -> None:
    """Log one line for the request: no query, no headers, no body, and no secret address."""
    log_fields = {
        "method": request.method,
        "path": redact_secrets(request.path),
        "status": response.status_code,
        "milliseconds": round((time.monotonic() - started_at) * 1000, 1),
        "address": address_of(request.META),
    }
    if user := _user_id(request):
        log_fields["user"] = user
    log.info("answered", extra=log_fields)


def _user_id(request: HttpRequest) -> str:
    """Return the user's id if the user was already looked up; "" otherwise. The log itself looks up nobody."""
    user = getattr(request, "_cached_user", None) or request.__dict__.get("user")
    is_known = user is not None and type(user) is not SimpleLazyObject and user.is_authenticated
    return str(user.pk) if user is not None and is_known else ""
