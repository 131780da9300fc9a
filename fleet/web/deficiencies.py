"""The list of deficiencies: worst class and oldest first, filtered by the query string, paged by key."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.calendar import day_of
from fleet.deficiencies import listed
from fleet.deficiencies.models import Deficiency
from fleet.deficiencies.queries import Shown
from fleet.jobs import onto
from fleet.jobs.onto import On
from fleet.portfolio.models import Portfolio
from fleet.rules.values import Level
from fleet.web.narrow import Narrow, choice, query, text
from fleet.web.pages import page

PER_PAGE = 50
AGES = {
    "week": ("over a week", 7),
    "month": ("over 30 days", 30),
    "quarter": ("over 90 days", 90),
    "year": ("over a year", 365),
}
STATUSES = {
    "": "open",
    "repaired": "repaired, not proven",
    "deferred": "deferred",
    "closed": "closed",
    "withdrawn": "withdrawn",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """The filter in the query string; "" does not filter, except that "" as status means open."""

    where: Narrow
    level: str
    age: str
    status: str

    @classmethod
    def of(cls, request: HttpRequest) -> "Asked":
        """Read the query string; unknown words do not filter."""
        level = choice(request, "level", tuple(level.value for level in Level))
        return cls(Narrow.asked(request), level, choice(request, "age", AGES), choice(request, "status", STATUSES))

    def query(self, **more: str) -> str:
        """Return the filter as a query string, with `more` replacing or adding parameters."""
        own = {"level": self.level, "age": self.age, "status": self.status}
        return query(portfolio=self.where.portfolio, q=self.where.q, **{**own, **more})


@dataclass(frozen=True, slots=True)
class Line:
    """One deficiency of the list, and for how many local days of its building it has been or was open."""

    shown: Shown
    days: int
    job: On | None


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show one page of the list, with the count of each class."""
    asked, user = Asked.of(request), request.user
    own = policy.boilers(user, "board.see", at)
    rows = _rows(asked, own, at)
    found, after = _page(rows.filter(level_now=asked.level) if asked.level else rows, asked, text(request, "after"), at)
    context = {
        "lines": _lines(user, found, at),
        "older": asked.query(after=after) if after else "",
        "counts": _counts(rows),
        "asked": asked,
        "ages": AGES,
        "statuses": STATUSES,
        "portfolios": list(Portfolio.objects.filter(id__in=own.order_by().values("portfolio")).order_by("name")),
        "granted": policy.grants(user, "board.see", at).exists(),
        "as_of": at,
        "here": "deficiencies",
    }
    return render(request, "deficiencies.html", context)


def _rows(asked: Asked, boilers: QuerySet[Any], at: datetime) -> QuerySet[Deficiency]:
    rows = listed.listed(asked.where.boilers(boilers), at)
    if asked.age:
        rows = rows.filter(opened_at__lte=at - timedelta(days=AGES[asked.age][1]))
    return listed.of_status(rows, asked.status or "open", at)


def _counts(rows: QuerySet[Deficiency]) -> list[tuple[str, int]]:
    counted = dict(rows.order_by().values_list("level_now").annotate(Count("id")))
    return [(level.value, counted.get(level.value, 0)) for level in Level]


def _page(rows: QuerySet[Deficiency], asked: Asked, after: str, at: datetime) -> tuple[list[Shown], str]:
    """Return the deficiencies after the key `after`, and the key of the next page ("" on the last page)."""
    place = _place(after)
    if place:
        rank, opened, last = place
        later = Q(opened_at__gt=opened) | Q(opened_at=opened, id__gt=last)
        rows = rows.filter(Q(rank__gt=rank) | Q(rank=rank) & later)
    told = rows.select_related("boiler__building__portfolio", "position").order_by("rank", "opened_at", "id")
    found: list[Any] = list(told[: PER_PAGE + 1])
    kept = found[:PER_PAGE]
    shown = [s for s in listed.shown(kept, at) if listed.matches(s, asked.status)]
    more = f"{kept[-1].rank}_{kept[-1].opened_at.isoformat()}_{kept[-1].id}" if len(found) > PER_PAGE else ""
    return shown, more


def _place(after: str) -> tuple[int, datetime, UUID] | None:
    try:
        rank, opened, last = after.split("_")
        place = int(rank[:2]), datetime.fromisoformat(opened), UUID(last)
    except ValueError:
        return None
    return place if place[1].tzinfo else None


def _lines(user: User | Any, shown: Sequence[Shown], at: datetime) -> list[Line]:
    jobs = onto.of_deficiencies(user, [one.row.id for one in shown], at)
    lines = []
    for one in shown:
        zone, end = one.row.boiler.building.zone, one.row.closed_at or at
        lines.append(Line(one, (day_of(end, zone) - day_of(one.row.opened_at, zone)).days, jobs.get(one.row.id)))
    return lines
