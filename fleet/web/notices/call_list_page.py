"""The call list: as clock times for a chosen moment, and its lines, which managers and owners may change."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.people import ROLES
from fleet.accounts.requests import user_of
from fleet.errors import Refused
from fleet.notices.call_list.adoption import adopt_call_list, newest_number
from fleet.notices.call_list.clock_times import call_times
from fleet.notices.call_list.lines import ANY, INTERRUPTING, CallLine
from fleet.notices.call_list.recipients import adopted_lists, read_reachable
from fleet.notices.channels.registry import channels_in_use
from fleet.portfolio.models import Building, Portfolio
from fleet.rules.values import LEVELS
from fleet.web.shared.boiler_filter import canonical_id, query_choice, query_text
from fleet.web.shared.local_times import parse_local_instant
from fleet.web.shared.pages import signed_in_action, signed_in_page

EMPTY_ROWS = 3  # to write further lines into
MAX_ROWS = 70
CHOICES = (*INTERRUPTING, "urgent", "routine")  # what may be asked for: a condition that interrupts, or a class


@dataclass(frozen=True, slots=True)
class ListScope:
    """Whose list: a building's, or (None) the portfolio's."""

    portfolio: Portfolio
    building: Building | None

    @property
    def query(self) -> str:
        """The scope as a query string."""
        return f"?building={self.building.id}" if self.building else ""


@signed_in_page
def show_call_list(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Show who would be told when, and the lines."""
    return render(request, "notices/call_list.html", _page_context(request, _read_scope(request, portfolio_id, at), at))


@signed_in_action("/notices/call-list/{portfolio_id}/")
def change_call_list(request: HttpRequest, at: datetime, portfolio_id: UUID) -> HttpResponse:
    """Adopt the lines sent, or go back to the wider list; a hole or a fault is shown and nothing is saved."""
    user, scope = user_of(request), _read_scope(request, portfolio_id, at)
    if not _may_adopt(user, scope, at):
        raise PermissionDenied
    version = request.POST.get("version", "")
    lines = None if request.POST.get("wider") else _read_lines(request)
    try:
        adopt_call_list(
            portfolio=scope.portfolio.id,
            building=scope.building.id if scope.building else None,
            lines=lines,
            number=int(version) if version.isdecimal() and len(version) < 9 else -1,
            channels=list(channels_in_use()),
            by=user,
            at=at,
        )
    except Refused as refused:
        context = {**_page_context(request, scope, at), "faults": _say_faults(refused, lines)}
        context["rows"] = [*(lines or ()), *[None] * EMPTY_ROWS]
        return render(request, "notices/call_list.html", context, status=refused.status)
    return redirect(f"/notices/call-list/{scope.portfolio.id}/{scope.query}")


def _say_faults(refused: Refused, lines: list[CallLine] | None) -> list[str]:
    return [
        f"Line {fault.at[0] + 1}: {fault.message}" if fault.at and isinstance(fault.at[0], int) else fault.message
        for fault in refused.faults
    ]


def _read_scope(request: HttpRequest, portfolio_id: UUID, at: datetime) -> ListScope:
    visible_grants = policy.grants_for(user_of(request), "call_list.see", at).filter(portfolio=portfolio_id)
    portfolio = get_object_or_404(Portfolio, id__in=visible_grants.values("portfolio"))
    building_id = canonical_id(query_text(request, "building"))
    if not building_id:
        return ListScope(portfolio, None)
    visible = policy.boilers_for(user_of(request), "call_list.see", at).values("building")
    building = Building.objects.filter(portfolio=portfolio, id__in=visible, id=building_id).first()
    if building is None:
        raise Http404
    return ListScope(portfolio, building)


def _may_adopt(user: User, scope: ListScope, at: datetime) -> bool:
    if scope.building is not None:
        return policy.is_allowed(
            user, "call_list.adopt", portfolio=scope.portfolio.id, building=scope.building.id, at=at
        )
    return policy.portfolios_for(user, "call_list.adopt", at).filter(id=scope.portfolio.id).exists()


def _read_lines(request: HttpRequest) -> list[CallLine]:
    names = ("condition", "level", "after", "hears", "channel")
    columns = [request.POST.getlist(name)[:MAX_ROWS] for name in names]
    lines = []
    for condition, level, after, hears, channel in zip(*columns, strict=False):
        if hears.strip():
            minutes = int(after) if after.strip().isdecimal() and len(after) < 6 else -1
            lines.append(
                CallLine(
                    condition=condition[:32] or ANY,
                    level=level[:16] or ANY,
                    after_minutes=minutes,
                    hears=hears.strip()[:80],
                    channel=channel[:32],
                )
            )
    return lines


def _page_context(request: HttpRequest, scope: ListScope, at: datetime) -> dict[str, object]:
    house, houses = _find_houses(request, scope, at)
    zone = house.zone if house else "UTC"
    moment = parse_local_instant(query_text(request, "at"), zone) or at
    return {
        "portfolio": scope.portfolio,
        "building": scope.building,
        "house": house,
        "houses": houses,
        "asks_moment": bool(query_text(request, "at")),
        "moment": moment.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M"),
        "raised_at": moment,
        "scope_query": scope.query,
        "as_of": at,
        "zone": zone,
        "here": "alerts",
        **_clock_context(request, house, moment),
        **_lines_context(request, scope, at),
    }


def _find_houses(request: HttpRequest, scope: ListScope, at: datetime) -> tuple[Building | None, list[Building]]:
    """Return the building whose clock times are shown, and all that may be chosen."""
    visible = policy.boilers_for(user_of(request), "call_list.see", at).values("building")
    houses = list(Building.objects.filter(portfolio=scope.portfolio, id__in=visible).order_by("address"))
    return scope.building or (houses[0] if houses else None), houses


def _clock_context(request: HttpRequest, house: Building | None, moment: datetime) -> dict[str, object]:
    alert_choice = query_choice(request, "what", CHOICES) or "hold"
    condition, level = (alert_choice, "hold") if alert_choice in INTERRUPTING else (ANY, alert_choice)
    times = call_times(building=house, condition=condition, level=level, at=moment) if house else []
    return {"what": alert_choice, "choices": CHOICES, "times": times}


def _lines_context(request: HttpRequest, scope: ListScope, at: datetime) -> dict[str, object]:
    building = scope.building.id if scope.building else None
    lines = read_reachable(scope.portfolio.id, at).lines_of(building)
    return {
        "rows": [*lines, *[None] * EMPTY_ROWS],
        "count": len(lines),
        "is_own": building in adopted_lists(scope.portfolio.id),
        "version": newest_number(scope.portfolio.id, building),
        "may_adopt": _may_adopt(user_of(request), scope, at),
        "conditions": (*INTERRUPTING, ANY),
        "levels": (ANY, *LEVELS),
        "roles": ROLES,
        "channels": list(channels_in_use()),
    }
