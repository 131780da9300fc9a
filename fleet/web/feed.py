"""The alert feed: what was raised and what returned to normal since the user last looked; acknowledge and shelve."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.core.paginator import Paginator
from django.db import OperationalError
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet import pipeline
from fleet.accounts import looks, policy
from fleet.alerts import queries as alerts
from fleet.alerts.acts import Decision
from fleet.alerts.models import Alert
from fleet.errors import Refused
from fleet.portfolio.models import Portfolio
from fleet.portfolio.news import Cause
from fleet.web.feed_entries import ACTIONS, Faults, entries, of
from fleet.web.local import instant
from fleet.web.narrow import choice, identified, query, text
from fleet.web.pages import page

PER_PAGE = 25  # feed entries
MOST_TOGETHER = 100  # alerts in one request
STALE = "Somebody changed this meanwhile: look again, then decide."


@dataclass(frozen=True, slots=True)
class Asked:
    """The filter in the query string; "" does not filter."""

    raised: str
    condition: str
    portfolio: str

    @classmethod
    def of(cls, request: HttpRequest) -> "Asked":
        """Read the query string."""
        raised = choice(request, "raised", ("now",))
        return cls(raised, text(request, "condition")[:32], identified(text(request, "portfolio")))

    @property
    def query(self) -> str:
        """The filter as a query string."""
        return query(raised=self.raised, condition=self.condition, portfolio=self.portfolio)

    def narrowed(self, rows: QuerySet[Alert]) -> QuerySet[Alert]:
        """Return the alerts that match the filter."""
        if self.raised:
            rows = rows.filter(until=None)
        if self.condition:
            rows = rows.filter(condition=self.condition)
        return rows.filter(portfolio=self.portfolio) if self.portfolio else rows


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show one page of the feed."""
    return render(request, "alerts.html", _context(request, at))


@require_POST
def looked(request: HttpRequest) -> HttpResponse:
    """Record that the user has looked at what a page showed; later alerts stay marked as new."""
    user: Any = request.user
    if not user.is_authenticated:
        return redirect_to_login("/alerts/")
    at = timezone.now()
    try:
        shown = datetime.fromisoformat(request.POST.get("shown", ""))
        looks.looked(user=user, until=min(shown, at))
    except (ValueError, TypeError):  # not an instant, or one without a zone
        return HttpResponse("This is no instant.", status=400, content_type="text/plain")
    return redirect(f"/alerts/{Asked.of(request).query}")


@require_POST
def act(request: HttpRequest, kind: str) -> HttpResponse:
    """Acknowledge or shelve the alerts sent and return to the feed; faults are shown beside each alert."""
    user: Any = request.user
    if not user.is_authenticated:
        return redirect_to_login("/alerts/")
    at, versions = timezone.now(), _named(request)
    seen = of(Alert.kept.filter(id__in=versions), user, "board.see", at).annotate(zone=alerts.zone())
    rows = {row.id: row for row in seen}
    if kind not in ACTIONS or not versions or rows.keys() != versions.keys():
        raise Http404
    if of(Alert.kept.filter(id__in=versions), user, ACTIONS[kind][0], at).count() < len(rows):
        return HttpResponse("You may see this, but not do this.", status=403, content_type="text/plain")
    tried = {i: _tried(request, rows[i], kind, version, at) for i, version in versions.items()}
    faults = {i: said for i, (said, _) in tried.items() if said}
    if not faults:
        return redirect(f"/alerts/{Asked.of(request).query}#alert-{next(iter(versions))}")
    status = next(status for said, status in tried.values() if said)
    return render(request, "alerts.html", _context(request, at, faults), status=status)


def _named(request: HttpRequest) -> dict[UUID, int]:
    """Return the alerts in the form with the version the user saw, each sent as "id:version"."""
    named = {}
    for pair in request.POST.getlist("alert")[:MOST_TOGETHER]:
        given, _, version = pair.partition(":")
        if (known := identified(given)) and version.isdecimal() and len(version) < 10:
            named[UUID(known)] = int(version)
    return named


def _tried(request: HttpRequest, row: Any, kind: str, version: int, at: datetime) -> tuple[tuple[str, ...], int]:
    """Run the action; return the messages of its faults and the HTTP status."""
    user, given = request.user, request.POST.get
    reason = given("reason", "")[:400].replace("\x00", "")
    until = instant(given("until", ""), row.zone) if kind == "shelve" else None
    told = Cause(who=user.get_username(), request_id=request.META.get("GAUGEGLASS_REQUEST_ID", ""))
    decision = Decision(ACTIONS[kind][1], reason, until)
    try:
        pipeline.act_on_alert(alert=row.id, decision=decision, version=version, by=user, at=at, cause=told)
    except Refused as refused:
        return tuple(_said(f.code, f.message, f.at) for f in refused.faults), refused.status
    except OperationalError:  # a lock was held too long: nothing was saved
        return ("Somebody else is working on this just now. Try again in a moment.",), 503
    return (), 200


def _said(code: str, message: str, at: Sequence[str | int]) -> str:
    if code == "stale":
        return STALE
    fields = {"reason": "Why", "until": "Until"}
    return f"{fields[str(at[0])]}: {message}" if at and at[0] in fields else message


def _context(request: HttpRequest, at: datetime, faults: Faults | None = None) -> dict[str, Any]:
    user: Any = request.user
    own, last = policy.boilers(user, "board.see", at), looks.of(user)
    asked, whole = Asked.of(request), alerts.feed(own, policy.portfolios(user, "board.see", at))
    asked_for = asked.narrowed(whole)
    feed = Paginator(alerts.together(asked_for), PER_PAGE).get_page(request.GET.get("page"))
    keys = [row["key"] for row in feed.object_list]
    seen = Portfolio.objects.filter(id__in=policy.grants(user, "board.see", at).values("portfolio"))
    portfolios = list(seen.order_by("name"))
    return {
        "feed": feed,
        "entries": entries(user, asked_for, keys, last, faults or {}, at),
        "looked": last,
        "news": alerts.since(whole, last).count() if last else 0,
        "asked": asked,
        "conditions": sorted(whole.order_by("condition").values_list("condition", flat=True).distinct()),
        "portfolios": portfolios,
        "granted": bool(portfolios),
        "as_of": at,
        "here": "alerts",
    }
