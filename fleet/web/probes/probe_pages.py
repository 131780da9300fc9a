"""`/healthz`: the site answers. `/readyz`: it can serve, or what it lacks, as a problem (RFC 9457). Without a key."""

from http import HTTPStatus

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from fleet.errors import describe_problem
from fleet.web.probes.readiness import find_missing_parts

PLAIN_TEXT = "text/plain; charset=utf-8"
RETRY_SECONDS = "5"


@require_safe
@never_cache
def show_alive(request: HttpRequest) -> HttpResponse:
    """Answer that this process answers. Nothing else is asked: a site whose database is away is alive."""
    return HttpResponse("The site answers.\n", content_type=PLAIN_TEXT)


@require_safe
@never_cache
def show_serving(request: HttpRequest) -> HttpResponse:
    """Answer 200 if the site can serve, else 503 and what it lacks."""
    faults = find_missing_parts()
    if not faults:
        return HttpResponse("The site can serve.\n", content_type=PLAIN_TEXT)
    status = HTTPStatus.SERVICE_UNAVAILABLE
    problem = describe_problem(status, status.phrase, faults)
    response = JsonResponse(problem, status=status, content_type="application/problem+json")
    response["Retry-After"] = RETRY_SECONDS
    return response
