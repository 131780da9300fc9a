"""The alert feed: what began and what returned to normal since one last looked; acknowledge, shelve, make a job."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib.auth.views import redirect_to_login
from django.core.paginator import Page, Paginator
from django.db import OperationalError
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts import queries as alerts
from fleet.alerts.acts import Decision
from fleet.alerts.models import Alert
from fleet.errors import Refused
from fleet.portfolio.models import Building, Portfolio
from fleet.portfolio.news import Cause
from fleet.web.local import instant
from fleet.web.narrow import choice, identified, query, text
from fleet.web.pages import page

PER_PAGE = 50
LOOK = timedelta(minutes=15)  # looking again within this is the same look
ACTIONS = {"acknowledge": ("alert.acknowledge", "acknowledged"), "shelve": ("alert.shelve", "shelved")}
STALE = "Somebody changed this meanwhile: look again, then decide."


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for; "" asks for all."""

    raised: str
    condition: str
    portfolio: str

    @classmethod
    def of(cls, request: HttpRequest) -> "Asked":
        """Read the address."""
        raised = choice(request, "raised", ("now",))
        return cls(raised, text(request, "condition")[:32], identified(text(request, "portfolio")))

    @property
    def query(self) -> str:
        """As a query string."""
        return query(raised=self.raised, condition=self.condition, portfolio=self.portfolio)

    def narrowed(self, rows: QuerySet[Alert]) -> QuerySet[Alert]:
        """What of it is asked for."""
        if self.raised:
            rows = rows.filter(until=None)
        if self.condition:
            rows = rows.filter(condition=self.condition)
        return rows.filter(portfolio=self.portfolio) if self.portfolio else rows


@dataclass(frozen=True, slots=True)
class Item:
    """One alert, whether it is news, what this person may do about it, and what was wrong when it was tried."""

    alert: Alert
    house: Building | None
    new: bool
    may: frozenset[str]
    faults: tuple[str, ...] = ()


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """One page of it."""
    return render(request, "alerts.html", _context(request, at, _looked(request, at)))


@require_POST
def act(request: HttpRequest, alert_id: UUID, kind: str) -> HttpResponse:
    """Acknowledge or shelve and come back; what is refused is said beside the alert."""
    user: Any = request.user
    if not user.is_authenticated:
        return redirect_to_login("/alerts/")
    at = timezone.now()
    row = _of(Alert.kept.filter(id=alert_id), user, "board.see", at).annotate(zone=alerts.zone()).first()
    if row is None or kind not in ACTIONS:
        raise Http404
    if not _of(Alert.kept.filter(id=alert_id), user, ACTIONS[kind][0], at).exists():
        return HttpResponse("You may see this, but not do this.", status=403, content_type="text/plain")
    faults, status = _tried(request, row, kind, at)
    if not faults:
        return redirect(f"/alerts/{Asked.of(request).query}#alert-{row.id}")
    return render(request, "alerts.html", _context(request, at, None, {row.id: faults}), status=status)


def _tried(request: HttpRequest, row: Any, kind: str, at: datetime) -> tuple[tuple[str, ...], int]:
    """Do it; what was wrong in sentences, with the status of the answer."""
    user: Any = request.user
    given, version = request.POST.get, request.POST.get("version", "")
    reason = given("reason", "")[:400].replace("\x00", "")
    until = instant(given("until", ""), row.zone) if kind == "shelve" else None
    told = Cause(who=user.get_username(), request_id=request.META.get("GAUGEGLASS_REQUEST_ID", ""))
    number = int(version) if version.isdecimal() and len(version) < 10 else 0
    decision = Decision(ACTIONS[kind][1], reason, until)
    try:
        pipeline.act_on_alert(alert=row.id, decision=decision, version=number, by=user, at=at, cause=told)
    except Refused as refused:
        return tuple(_said(f.code, f.message, f.at) for f in refused.faults), refused.status
    except OperationalError:  # a lock held too long: nothing was kept
        return ("Somebody else is working on this just now. Try again in a moment.",), 503
    return (), 200


def _said(code: str, message: str, at: Sequence[str | int]) -> str:
    if code == "stale":
        return STALE
    fields = {"reason": "Why", "until": "Until"}
    return f"{fields[str(at[0])]}: {message}" if at and at[0] in fields else message


def _looked(request: HttpRequest, at: datetime) -> datetime | None:
    """When this person looked before this look; None at the first. Kept in the session."""
    kept = request.session.get("alerts_looked", {})
    last, before = (datetime.fromisoformat(kept[k]) if kept.get(k) else None for k in ("last", "before"))
    if last is not None and at - last > LOOK:
        before = last
    request.session["alerts_looked"] = {"last": at.isoformat(), "before": before.isoformat() if before else ""}
    return before


def _of(rows: QuerySet[Any], user: User, action: str, at: datetime) -> QuerySet[Any]:
    """Those of boilers on which the user may do `action`, of their buildings, and of portfolios as a whole."""
    return alerts.of(rows, policy.boilers(user, action, at), policy.portfolios(user, action, at))


def _context(
    request: HttpRequest, at: datetime, looked: datetime | None, faults: dict[UUID, tuple[str, ...]] | None = None
) -> dict[str, Any]:
    user: Any = request.user
    own = policy.boilers(user, "board.see", at)
    asked, whole = Asked.of(request), alerts.feed(own, policy.portfolios(user, "board.see", at))
    pages = Paginator(asked.narrowed(whole), PER_PAGE)
    shown = pages.get_page(request.GET.get("page"))
    items = _items(user, shown, looked, faults or {}, at)
    seen = Portfolio.objects.filter(id__in=policy.grants(user, "board.see", at).values("portfolio"))
    return {
        "feed": shown,
        "items": items,
        "looked": looked,
        "news": alerts.since(whole, looked).count() if looked else 0,
        "asked": asked,
        "conditions": sorted(whole.order_by("condition").values_list("condition", flat=True).distinct()),
        "portfolios": (portfolios := list(seen.order_by("name"))),
        "granted": bool(portfolios),
        "as_of": at,
        "here": "alerts",
    }


def _items(
    user: User, shown: Page[Any], looked: datetime | None, faults: dict[UUID, tuple[str, ...]], at: datetime
) -> list[Item]:
    rows = list(shown.object_list)
    may = {kind: _may(user, rows, action, at) for kind, (action, _) in ACTIONS.items()}
    houses = Building.objects.in_bulk([row.subject for row in rows if row.boiler_id is None])
    makes = set(policy.boilers(user, "job.create", at).values_list("building", flat=True)) if rows else set()
    items = []
    for row in rows:
        house = row.boiler.building if row.boiler_id else houses.get(row.subject)
        open_to = {k for k, ids in may.items() if row.id in ids and row.until is None}
        open_to |= {"job"} if house and house.id in makes and row.until is None else set()
        news = looked is not None and (row.returned_at or row.raised_at) > looked
        items.append(Item(row, house, news, frozenset(open_to), faults.get(row.id, ())))
    return items


def _may(user: User, rows: Iterable[Alert], action: str, at: datetime) -> set[UUID]:
    raised = Alert.objects.filter(id__in=[row.id for row in rows if row.until is None])
    return set(_of(raised, user, action, at).values_list("id", flat=True))
