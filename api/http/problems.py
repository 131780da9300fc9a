"""Errors as problems (RFC 9457): one stable `code`, and every fault with a JSON pointer to its place."""

import logging
import re
from collections.abc import Iterable, Iterator
from http import HTTPStatus
from typing import Any

from django.core.exceptions import BadRequest, PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.db.utils import OperationalError
from django.http import Http404, UnreadablePostError
from django.http.multipartparser import MultiPartParserError
from psycopg.errors import DiskFull
from rest_framework import exceptions
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.settings import api_settings
from rest_framework.views import set_rollback

from fleet.accounts.requests import request_id_of
from fleet.errors import Fault, FaultPath, Refused, describe_fault, describe_problem
from fleet.records.disk_room import NO_ROOM_SENTENCE

PROBLEM_TYPE = "application/problem+json"
RETRY_SECONDS_WITHOUT_ROOM = "60"
MAX_FAULTS = 500  # a body of 2 MiB can hold 250,000 faults
MAX_TEXT_LENGTH = 300
_UNSENDABLE = re.compile("[\x00\ud800-\udfff]")

log = logging.getLogger(__name__)


def handler(error: Exception, context: dict[str, Any]) -> Response:
    """Return the problem for an exception of the core or the framework. Any other is logged and answered with 500."""
    set_rollback()
    _answer_as_json(context["request"])
    if isinstance(error, Refused):
        return problem_response(error.status, error.faults)
    if isinstance(error, exceptions.ValidationError):
        return problem_response(400, _flatten_faults(error.get_full_details(), ()))
    if isinstance(error, OperationalError):
        return no_room_problem() if isinstance(error.__cause__, DiskFull) else _busy_problem()
    if isinstance(error, exceptions.APIException) and not isinstance(error, _WORDED_BELOW):
        return _framework_problem(error)
    for kinds, status, code, message in _PROBLEMS_BY_KIND:
        if isinstance(error, kinds):
            return problem_response(status, [Fault(code, message)])
    return _internal_problem(error, context["request"])


_WORDED_BELOW = (exceptions.NotFound, exceptions.PermissionDenied)
_PROBLEMS_BY_KIND: tuple[tuple[tuple[type[Exception], ...], int, str, str], ...] = (
    ((Http404, exceptions.NotFound), 404, "not_found", "Not found."),
    ((PermissionDenied,), 403, "not_allowed", "You can view this but not change it."),
    # The framework raises it only for a session's request without its CSRF token.
    (
        (exceptions.PermissionDenied,),
        403,
        "csrf_failed",
        "Send the token of the signed-in page, or the key of a device.",
    ),
    ((RequestDataTooBig,), 413, "too_large", "A request body can be at most 2 MiB."),
    (
        (SuspiciousOperation, BadRequest, MultiPartParserError, UnreadablePostError),
        400,
        "bad_request",
        "This request cannot be read.",
    ),
)


def problem_response(code: int, faults: Iterable[Fault]) -> Response:
    """Return one problem response for one or more faults. At most 500 are listed."""
    all_faults = list(faults)
    errors = [
        {"code": f.code, "message": _make_sendable(f.message), "pointer": _make_sendable(json_pointer(f.at), None)}
        for f in all_faults[:MAX_FAULTS]
    ]
    if len(all_faults) > MAX_FAULTS:
        more = f"{len(all_faults) - MAX_FAULTS} more faults are not listed here."
        errors.append(describe_fault("more_faults", more))
    title = HTTPStatus(code).phrase  # RFC 9457, 4.2.1: required with type about:blank
    return Response(describe_problem(code, title, errors), status=code, content_type=PROBLEM_TYPE)


def json_pointer(at: FaultPath) -> str:
    """Return the JSON pointer (RFC 6901) of a place, '' for the whole body."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in at)


def _make_sendable(text: str, max_length: int | None = MAX_TEXT_LENGTH) -> str:
    """Return text that can be encoded, cut to `max_length`. Messages repeat input, which may hold lone surrogates."""
    sendable = _UNSENDABLE.sub("\ufffd", text)
    return sendable if max_length is None or len(sendable) <= max_length else sendable[:max_length] + "…"


def _answer_as_json(request: Request) -> None:
    """Make the problem JSON, also where the answer would have been HTML or YAML."""
    request.accepted_renderer, request.accepted_media_type = JSONRenderer(), JSONRenderer.media_type


def _flatten_faults(details: Any, at: FaultPath) -> Iterator[Fault]:
    """Yield the faults of the framework's nested details in their order."""
    if _is_leaf(details):
        yield Fault(str(details["code"]), str(details["message"]), at)
    elif isinstance(details, dict):
        for name, inner in details.items():
            yield from _flatten_faults(inner, at if name == api_settings.NON_FIELD_ERRORS_KEY else (*at, name))
    else:
        for index, inner in enumerate(details):
            yield from _flatten_faults(inner, at if _is_leaf(inner) else (*at, index))


def _is_leaf(details: Any) -> bool:
    """Return whether this is one error. Input fields may be named message and code too, but those hold lists."""
    return isinstance(details, dict) and details.keys() == {"message", "code"} and isinstance(details["message"], str)


def no_room_problem() -> Response:
    """Return a 503: the disk is full. Nothing was stored, so the same post may be sent again once there is room."""
    response = problem_response(503, [Fault("no_room", NO_ROOM_SENTENCE)])
    response["Retry-After"] = RETRY_SECONDS_WITHOUT_ROOM
    return response


def _busy_problem() -> Response:
    """Return a 503: a lock or the database timed out. Nothing was stored, so the same post may be sent again."""
    response = problem_response(503, [Fault("busy", "Nothing was saved. Try again in a moment.")])
    response["Retry-After"] = "2"
    return response


def _framework_problem(error: exceptions.APIException) -> Response:
    response = problem_response(error.status_code, [Fault(str(error.get_codes()), str(error.detail))])
    if (header := getattr(error, "auth_header", None)) is not None:
        response["WWW-Authenticate"] = header
    if (wait := getattr(error, "wait", None)) is not None:
        response["Retry-After"] = str(int(wait) + 1)
    return response


def _internal_problem(error: Exception, request: Request) -> Response:
    request_id = request_id_of(request)
    log.error("request %s failed: %s %s", request_id, request.method, request.path, exc_info=error)
    return problem_response(
        500, [Fault("our_fault", f"Something failed on the server. It is in the log as {request_id}.")]
    )
