"""Middleware that refuses a request before any work: an address too long, or text that nothing can store.

It is refused at one place for all pages and for the addresses of the API, as it was sent and not as it was decoded; the
bodies of the API are checked field by field, so that a fault names its field.
"""

from collections.abc import Callable, MutableMapping
from http import HTTPStatus

from django.core.exceptions import SuspiciousOperation
from django.core.signals import request_started
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string

from fleet.errors import describe_fault, describe_problem
from fleet.records.storable_text import has_unstorable_text, is_storable, is_storable_query

MAX_ADDRESS_LENGTH = 8 * 1024  # path and query as sent; the longest that a page makes is a tenth of it
API_PREFIX = "/api/"
_SENT_PATH = "gaugeglass.sent_path"  # in the environment of a request: its path, each byte as one character

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

    Multipart forms are refused where they are read (`fleet.web.shared.form_reader`).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Let the request on: its form is read once its view is known."""
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: object, _: object, __: object) -> HttpResponse | None:
        """Refuse the form, or return None. A view that reads its body itself is left to do so."""
        is_form = request.method == "POST" and not getattr(view, "csrf_exempt", False)
        if is_form and not has_storable_fields(request):
            return refuse_request(request, HTTPStatus.BAD_REQUEST, NOT_TEXT)
        return None


def has_storable_fields(request: HttpRequest) -> bool:
    """Return whether a form that was sent like a query can be stored. One in parts was refused where it is read."""
    fields_are_read = request.POST is not None  # raises UnstorableForm for one in parts
    is_query = request.content_type == "application/x-www-form-urlencoded"
    return fields_are_read and (not is_query or is_storable_query(request.body))


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
    if has_unstorable_text((*request.GET, *request.COOKIES.values())):  # the query raises where it has too many fields
        return NOT_TEXT
    sent_path, sent_query = (str(request.META.get(name, "")).encode("latin-1") for name in (_SENT_PATH, "QUERY_STRING"))
    return None if is_storable(sent_path) and is_storable_query(sent_query) else NOT_TEXT


def _keep_sent_path(*, environ: MutableMapping[str, object] | None = None, **_: object) -> None:
    """Keep the path as it came in. In the framework's own, bytes that are no UTF-8 look like percent signs sent."""
    if environ is not None:
        environ[_SENT_PATH] = environ.get("PATH_INFO", "")


request_started.connect(_keep_sent_path, dispatch_uid="fleet.web.sent_path")
