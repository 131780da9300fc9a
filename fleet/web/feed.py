"""The alert feed: what was raised and what returned to normal, newest first."""

from datetime import datetime

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.alerts import queries as alerts
from fleet.web.pages import page

PER_PAGE = 50


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """One page of it."""
    boilers = policy.boilers(request.user, "board.see", at)
    pages = Paginator(alerts.feed(boilers, policy.portfolios(request.user, "board.see", at)), PER_PAGE)
    shown = pages.get_page(request.GET.get("page"))
    granted = bool(shown.object_list) or policy.grants(request.user, "board.see", at).exists()
    return render(request, "alerts.html", {"feed": shown, "granted": granted, "here": "alerts"})
