"""The alert feed: what was raised and what returned to normal since the user last looked; acknowledge and shelve."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from fleet import pipeline
from fleet.accounts import looks, policy
from fleet.accounts.requests import cause_of, user_of
from fleet.alerts import queries as alerts
from fleet.alerts.acts import AlertDecision
from fleet.alerts.models import Alert
from fleet.portfolio.models import Portfolio
from fleet.web.alerts.entries import ACTIONS, AlertFaults, alerts_permitted_to, build_entries
from fleet.web.shared.boiler_filter import build_query, canonical_id, query_choice, query_text
from fleet.web.shared.local_times import parse_local_instant
from fleet.web.shared.pages import signed_in_action, signed_in_page
from fleet.web.shared.write_attempts import attempt_write

PER_PAGE = 25  # feed entries
MAX_ALERTS_PER_ACT = 100  # alerts in one request


@dataclass(frozen=True, slots=True)
class AlertFilter:
    """The filter in the query string; "" does not filter."""

    raised: str
    condition: str
    portfolio: str

    @classmethod
    def from_request(cls, request: HttpRequest) -> "AlertFilter":
        """Read the query string."""
        raised = query_choice(request, "raised", ("now",))
        return cls(raised, query_text(request, "condition")[:32], canonical_id(query_text(request, "portfolio")))

    @property
    def query_string(self) -> str:
        """The filter as a query string."""
        return build_query(raised=self.raised, condition=self.condition, portfolio=self.portfolio)

    def filter_rows(self, rows: QuerySet[Alert]) -> QuerySet[Alert]:
        """Return the alerts that match the filter."""
        if self.raised:
            rows = rows.filter(until=None)
        if self.condition:
            rows = rows.filter(condition=self.condition)
        return rows.filter(portfolio=self.portfolio) if self.portfolio else rows  # type: ignore[misc]


@signed_in_page
def show_alerts(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show one page of the feed."""
    return render(request, "alerts/alerts.html", _feed_context(request, at))


@signed_in_action("/alerts/")
def mark_looked(request: HttpRequest, at: datetime) -> HttpResponse:
    """Record that the user has looked at what a page showed; later alerts stay marked as new."""
    user = user_of(request)
    try:
        page_instant = datetime.fromisoformat(request.POST.get("shown", ""))
        looks.record_look(user=user, until=min(page_instant, at))
    except (ValueError, TypeError):  # not an instant, or one without a zone
        return HttpResponse("This is not a valid time.", status=400, content_type="text/plain")
    return redirect(f"/alerts/{AlertFilter.from_request(request).query_string}")


@signed_in_action("/alerts/")
def act_on_alerts(request: HttpRequest, at: datetime, kind: str) -> HttpResponse:
    """Acknowledge or shelve the alerts sent and return to the feed; faults are shown beside each alert."""
    user = user_of(request)
    versions = _alert_versions(request)
    visible_alerts = alerts_permitted_to(Alert.with_withdrawn.filter(id__in=versions), user, "board.see", at).annotate(
        zone=alerts.alert_zone()
    )
    rows = {row.id: row for row in visible_alerts}
    if kind not in ACTIONS or not versions or rows.keys() != versions.keys():
        raise Http404
    if alerts_permitted_to(Alert.with_withdrawn.filter(id__in=versions), user, ACTIONS[kind][0], at).count() < len(
        rows
    ):
        return HttpResponse("You can view this but not change it.", status=403, content_type="text/plain")
    outcomes = {i: _try_action(request, rows[i], kind=kind, version=version, at=at) for i, version in versions.items()}
    faults = {i: messages for i, (messages, _) in outcomes.items() if messages}
    if not faults:
        return redirect(f"/alerts/{AlertFilter.from_request(request).query_string}#alert-{next(iter(versions))}")
    status = next(status for messages, status in outcomes.values() if messages)
    return render(request, "alerts/alerts.html", _feed_context(request, at, faults), status=status)


def _alert_versions(request: HttpRequest) -> dict[UUID, int]:
    """Return the alerts in the form with the version the user saw, each sent as "id:version"."""
    versions = {}
    for pair in request.POST.getlist("alert")[:MAX_ALERTS_PER_ACT]:
        id_text, _, version = pair.partition(":")
        if (alert_id := canonical_id(id_text)) and version.isdecimal() and len(version) < 10:
            versions[UUID(alert_id)] = int(version)
    return versions


def _try_action(request: HttpRequest, row: Any, kind: str, version: int, at: datetime) -> tuple[tuple[str, ...], int]:
    """Run the action; return the messages of its faults and the HTTP status."""
    user, read_field = user_of(request), request.POST.get
    reason = read_field("reason", "")[:400]
    until = parse_local_instant(read_field("until", ""), row.zone) if kind == "shelve" else None
    cause = cause_of(request)
    decision = AlertDecision(ACTIONS[kind][1], reason, until)
    return attempt_write(
        lambda: pipeline.act_on_alert(alert=row.id, decision=decision, version=version, by=user, at=at, cause=cause),
        {"reason": "Why", "until": "Until"},
    )


def _feed_context(request: HttpRequest, at: datetime, faults: AlertFaults | None = None) -> dict[str, object]:
    user = user_of(request)
    visible_boilers, last_look = policy.boilers_for(user, "board.see", at), looks.looked_until(user)
    alert_filter, all_alerts = (
        AlertFilter.from_request(request),
        alerts.alert_feed(visible_boilers, policy.portfolios_for(user, "board.see", at)),
    )
    matching_alerts = alert_filter.filter_rows(all_alerts)
    feed = Paginator(alerts.group_entries(matching_alerts), PER_PAGE).get_page(request.GET.get("page"))
    keys = [row["key"] for row in feed.object_list]
    visible_portfolios = Portfolio.objects.filter(id__in=policy.grants_for(user, "board.see", at).values("portfolio"))
    portfolios = list(visible_portfolios.order_by("name"))
    return {
        "feed": feed,
        "entries": build_entries(user, matching_alerts, keys=keys, last_look=last_look, faults=faults or {}, at=at),
        "looked": last_look,
        "news": alerts.changed_since(all_alerts, last_look).count() if last_look else 0,
        "asked": alert_filter,
        "page_link": f"{alert_filter.query_string}&page=" if alert_filter.query_string else "?page=",
        "conditions": sorted(all_alerts.order_by("condition").values_list("condition", flat=True).distinct()),
        "portfolios": portfolios,
        "granted": bool(portfolios),
        "as_of": at,
        "here": "alerts",
    }
