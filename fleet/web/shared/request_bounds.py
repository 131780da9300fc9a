"""Middleware that refuses a request before any work: an address too long, or text that nothing can store.

PostgreSQL stores no NUL and UTF-8 has no lone surrogate. Both are refused here, at one place for all pages and for the
addresses of the API; the bodies of the API are checked field by field, so that a fault names its field.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from http import HTTPStatus

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.template.loader import render_to_string

from fleet.errors import describe_fault, describe_problem

MAX_ADDRESS_LENGTH = 8 * 1024  # path and query as sent; the longest that a page makes is a tenth of it
API_PREFIX = "/api/"
_UNSTORABLE = re.compile("[\x00\ud800-\udfff]")

TOO_LONG = describe_fault("address_too_long", f"An address can be at most {MAX_ADDRESS_LENGTH} characters long.")
NOT_TEXT = describe_fault("not_text", "This request contains a character that cannot be stored.")
TOO_MANY_FIELDS = describe_fault("too_many_fields", "A query can have at most 1,000 fields.")
_STATUSES = {TOO_LONG["code"]: HTTPStatus.REQUEST_URI_TOO_LONG}


class RequestBoundsMiddleware:
    """Answers 414 to an address that is too long, and 400 to text that cannot be stored."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Refuse the request by its head, or let it on."""
        try:
            fault = _find_fault(request)
        except SuspiciousOperation:
            fault = TOO_MANY_FIELDS
        if fault is not None:
            return refuse_request(request, _STATUSES.get(fault["code"], HTTPStatus.BAD_REQUEST), fault)
        return self.get_response(request)


class FormTextMiddleware:
    """Answers 400 to a page's form with text that cannot be stored. It comes after the check of the form's token.

    The names of files need no check: what is not printable in them is dropped by the parser of forms.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Let the request on: its form is read once its view is known."""
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: object, _: object, __: object) -> HttpResponse | None:
        """Refuse the form, or return None. A view that reads its body itself is left to do so."""
        is_form = request.method == "POST" and not getattr(view, "csrf_exempt", False)
        if is_form and has_unstorable_text(texts_of(request.POST)):
            return refuse_request(request, HTTPStatus.BAD_REQUEST, NOT_TEXT)
        return None


def texts_of(fields: QueryDict) -> Iterator[str]:
    """Yield the names and the values of a query or a form."""
    for name, values in fields.lists():
        yield name
        yield from (value for value in values if isinstance(value, str))


def has_unstorable_text(texts: Iterable[str]) -> bool:
    """Return whether one of the texts has a NUL or a lone surrogate."""
    return any(_UNSTORABLE.search(text) for text in texts)


def refuse_request(request: HttpRequest, status: HTTPStatus, fault: dict[str, str]) -> HttpResponse:
    """Return a problem (RFC 9457) under the API, the page of an unreadable request elsewhere."""
    if request.path.startswith(API_PREFIX):
        problem = describe_problem(status, status.phrase, [fault])
        return JsonResponse(problem, status=status, content_type="application/problem+json")
    return HttpResponse(render_to_string("400.html", {"sentence": fault["message"]}), status=status)


def _find_fault(request: HttpRequest) -> dict[str, str] | None:
    """Return what is wrong with the head of the request, or None."""
    if len(request.path) + len(request.META.get("QUERY_STRING", "")) > MAX_ADDRESS_LENGTH:
        return TOO_LONG
    unstorable = has_unstorable_text((request.path, *texts_of(request.GET), *request.COOKIES.values()))
    return NOT_TEXT if unstorable else None
