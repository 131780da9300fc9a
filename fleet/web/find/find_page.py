"""Finding a building, boiler, device or person; every page leads here by its link and by the key "/"."""

from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts.requests import user_of
from fleet.reading.search import MAX_FOUND, find_things
from fleet.web.shared.boiler_filter import query_text
from fleet.web.shared.pages import signed_in_page


@signed_in_page
def show_found(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show what matches the words asked for."""
    words = query_text(request, "q")
    found = find_things(user_of(request), words, at)
    context = {"words": words, "found": found, "most": MAX_FOUND, "as_of": at, "zone": "UTC", "here": "find"}
    return render(request, "find/find.html", context)
