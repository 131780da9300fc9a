"""What was sent: the notices of oneself, and of a portfolio to those who answer for it, with every attempt."""

from datetime import datetime
from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.notices.call_list.recipients import is_anybody_told
from fleet.notices.models import DeliveryAttempt
from fleet.notices.queries import NOTICE_KINDS, text_for_reader, visible_notices
from fleet.portfolio.models import Portfolio
from fleet.web.shared.boiler_filter import build_query, canonical_id, query_choice, query_text
from fleet.web.shared.pages import signed_in_page

PER_PAGE = 50


@signed_in_page
def show_sent(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show the newest notices, one line each."""
    user = user_of(request)
    kind = query_choice(request, "kind", NOTICE_KINDS)
    portfolio = canonical_id(query_text(request, "portfolio"))
    rows = visible_notices(user, at)
    rows = rows.filter(kind=kind) if kind else rows
    rows = rows.filter(portfolio=UUID(portfolio)) if portfolio else rows
    listed_rows = rows.select_related("user", "building", "portfolio").order_by("-created_at", "id")
    portfolios = list(Portfolio.objects.filter(id__in=policy.grants_for(user, "board.see", at).values("portfolio")))
    query = build_query(kind=kind, portfolio=portfolio)
    context = {
        "notices": Paginator(listed_rows, PER_PAGE).get_page(request.GET.get("page")),
        "kinds": NOTICE_KINDS,
        "kind": kind,
        "portfolio": portfolio,
        "portfolios": portfolios,
        "untold": [p for p in portfolios if not is_anybody_told(p.id, at)],
        "page_link": f"{query}&page=" if query else "?page=",
        "as_of": at,
        "here": "alerts",
    }
    return render(request, "notices/sent.html", context)


@signed_in_page
def show_notice(request: HttpRequest, at: datetime, notice_id: UUID) -> HttpResponse:
    """Show one notice as it was written, and every attempt to hand it over."""
    attempts = DeliveryAttempt.objects.select_related("destination").order_by("at", "id")
    rows = visible_notices(user_of(request), at).select_related("user", "building", "portfolio", "folded_into")
    notice = rows.filter(id=notice_id).prefetch_related(Prefetch("attempts", attempts)).first()
    if notice is None:
        raise Http404
    is_own = notice.user_id == user_of(request).id
    zone = notice.building.zone if notice.building else "UTC"
    text = text_for_reader(notice, user_of(request))
    context = {"notice": notice, "text": text, "is_own": is_own, "zone": zone, "as_of": at, "here": "alerts"}
    return render(request, "notices/notice.html", context)
