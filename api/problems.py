"""Errors as RFC 9457 problems: one stable `code`, and every fault with a JSON pointer to its place."""

from collections.abc import Iterator
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db.utils import OperationalError
from django.http import Http404
from rest_framework import exceptions, status
from rest_framework.response import Response
from rest_framework.views import set_rollback

from fleet.errors import Fault, Place, Refused

TYPE = "application/problem+json"


def handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """Translate what the core refuses and what the framework raises; anything else stays a 500."""
    set_rollback()
    if isinstance(error, Refused):
        return problem(error.status, error.faults)
    if isinstance(error, exceptions.ValidationError):
        return problem(status.HTTP_400_BAD_REQUEST, list(_faults(error.get_full_details(), ())))
    if isinstance(error, (Http404, exceptions.NotFound)):
        return problem(status.HTTP_404_NOT_FOUND, [Fault("not_found", "There is nothing here for you.")])
    if isinstance(error, (PermissionDenied, exceptions.PermissionDenied)):
        return problem(status.HTTP_403_FORBIDDEN, [Fault("not_allowed", "You may see this, but not do this.")])
    if isinstance(error, OperationalError):
        return _busy()
    if isinstance(error, exceptions.APIException):
        return _framework(error)
    return None


def problem(code: int, faults: Any) -> Response:
    """One answer for any number of faults."""
    listed = list(faults)
    body = {
        "type": "about:blank",
        "title": listed[0].message,
        "status": code,
        "code": listed[0].code,
        "errors": [{"code": f.code, "message": f.message, "pointer": pointer(f.at)} for f in listed],
    }
    return Response(body, status=code, content_type=TYPE)


def pointer(at: Place) -> str:
    """A JSON pointer (RFC 6901), '' for the whole."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in at)


def _faults(details: Any, at: Place) -> Iterator[Fault]:
    """The framework's nested details, flattened in their order."""
    if isinstance(details, dict) and {"message", "code"} == details.keys():
        yield Fault(str(details["code"]), str(details["message"]), at)
    elif isinstance(details, dict):
        for name, inner in details.items():
            yield from _faults(inner, at if name == "non_field_errors" else (*at, name))
    else:
        for index, inner in enumerate(details):
            leaf = isinstance(inner, dict) and {"message", "code"} == inner.keys()
            yield from _faults(inner, at if leaf else (*at, index))


def _busy() -> Response:
    """A lock or the database was not to be had in time: nothing was kept, and the same post may come again."""
    response = problem(status.HTTP_503_SERVICE_UNAVAILABLE, [Fault("busy", "Try again in a moment: nothing was kept.")])
    response["Retry-After"] = "2"
    return response


def _framework(error: exceptions.APIException) -> Response:
    response = problem(error.status_code, [Fault(str(error.get_codes()), str(error.detail))])
    if (header := getattr(error, "auth_header", None)) is not None:
        response["WWW-Authenticate"] = header
    if (wait := getattr(error, "wait", None)) is not None:
        response["Retry-After"] = str(int(wait) + 1)
    return response
