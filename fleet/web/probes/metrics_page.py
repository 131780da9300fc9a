"""`/metrics`: figures of the site as a whole, for a program that gathers them.

Open on this machine, elsewhere by a key. To whoever may not see them the page does not exist. No figure names a person,
a portfolio or a boiler.
"""

import hmac

from django.conf import settings
from django.db import DatabaseError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.http.request import split_domain_port
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest

from fleet.deployment import is_loopback
from fleet.web.probes.site_metrics import SiteMetrics
from fleet.web.shared.middleware import HANDED_ON

# What a server in front adds. One that adds none of these is found by the host it was asked for, or by the settings.
FORWARDED_HEADERS = (
    "HTTP_X_FORWARDED_FOR",
    "HTTP_X_FORWARDED_PROTO",
    HANDED_ON,
    "HTTP_X_FORWARDED_HOST",
    "HTTP_X_REAL_IP",
    "HTTP_FORWARDED",
    "HTTP_VIA",
)
SAFE_METHODS = ("GET", "HEAD")


@csrf_exempt  # else a post would be refused in other words than one to an address that nobody knows
@never_cache
def show_metrics(request: HttpRequest) -> HttpResponse:
    """Send the figures as of now in the text format of Prometheus."""
    if not (has_metrics_key(request) or is_from_this_machine(request)):
        raise Http404
    if request.method not in SAFE_METHODS:
        return HttpResponseNotAllowed(SAFE_METHODS)
    try:
        figures = generate_latest(SiteMetrics(timezone.now()))
    except DatabaseError:
        return HttpResponse("The database does not answer.\n", status=503, content_type="text/plain; charset=utf-8")
    return HttpResponse(figures, content_type=CONTENT_TYPE_LATEST)


def has_metrics_key(request: HttpRequest) -> bool:
    """Return whether the request brings the key of the metrics, as a bearer token."""
    if not settings.METRICS_KEY:
        return False
    sent = request.headers.get("Authorization", "")
    return hmac.compare_digest(sent.encode(), f"Bearer {settings.METRICS_KEY}".encode())


def is_from_this_machine(request: HttpRequest) -> bool:
    """Return whether the request was made on this machine, and not handed on by a server in front that runs here.

    Where the settings name a server in front nothing is taken for local: all that it hands on comes from here.
    """
    if settings.PROXIES or settings.PROXY_NETWORKS:
        return False
    if any(header in request.META for header in FORWARDED_HEADERS):
        return False
    host, _ = split_domain_port(request.get_host())
    return is_loopback(str(request.META.get("REMOTE_ADDR", ""))) and is_loopback(host.strip("[]"))
