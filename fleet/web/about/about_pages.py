"""The trade's words, and the licenses of what is served to browsers. Both are for anybody."""

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.web.about.trade_words import TRADE_WORDS


@dataclass(frozen=True, slots=True)
class ServedPart:
    """Something that browsers get which others wrote, where it is served, and under which license."""

    name: str
    served_on: str
    license: str


SERVED_PARTS = (
    ServedPart("htmx", "the board and other pages that renew themselves", "Zero-Clause BSD"),
    ServedPart("django-htmx", "the same pages", "MIT"),
    ServedPart("Chart.js", "the figures and the charts of a boiler", "MIT"),
    ServedPart("Swagger UI", "the description of the API", "Apache-2.0"),
)


@require_safe
def show_words(request: HttpRequest) -> HttpResponse:
    """Show the trade's words."""
    return render(request, "about/words.html", {"words": TRADE_WORDS})


@require_safe
def show_licenses(request: HttpRequest) -> HttpResponse:
    """Show what is served to browsers and under which license."""
    return render(request, "about/licenses.html", {"parts": SERVED_PARTS})
