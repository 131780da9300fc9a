"""The list of deficiencies: worst class and oldest first, filtered by the query string, paged by key."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import user_of
from fleet.calendar import day_of
from fleet.deficiencies import deficiency_lists
from fleet.deficiencies.models import Deficiency
from fleet.deficiencies.queries import DeficiencyDetail
from fleet.jobs import current_job
from fleet.jobs.current_job import CurrentJob
from fleet.portfolio.models import Portfolio
from fleet.records.row_order import rows_after
from fleet.rules.values import LEVELS
from fleet.web.shared.boiler_filter import BoilerFilter, build_query, query_choice, query_text
from fleet.web.shared.pages import signed_in_page

PER_PAGE = 50
ORDER = ("rank", "opened_at", "id")
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
class DeficiencyFilter:
    """The filter in the query string; "" does not filter, except that "" as status means open."""

    boiler_filter: BoilerFilter
    level: str
    age: str
    status: str

    @classmethod
    def from_request(cls, request: HttpRequest) -> "DeficiencyFilter":
        """Read the query string; unknown words do not filter."""
        level = query_choice(request, "level", LEVELS)
        return cls(
            BoilerFilter.from_request(request),
            level,
            query_choice(request, "age", AGES),
            query_choice(request, "status", STATUSES),
        )

    def query_string(self, **more: str) -> str:
        """Return the filter as a query string, with `more` replacing or adding parameters."""
        filters = {"level": self.level, "age": self.age, "status": self.status}
        return build_query(portfolio=self.boiler_filter.portfolio, q=self.boiler_filter.q, **{**filters, **more})


@dataclass(frozen=True, slots=True)
class DeficiencyLine:
    """One deficiency of the list, and for how many local days of its building it has been or was open."""

    deficiency: DeficiencyDetail
    days: int
    job: CurrentJob | None

    @property
    def age_text(self) -> str:
        """For how long it has been or was open: "12 days"; "today" for one found today."""
        if not self.days and not self.deficiency.row.closed_at:
            return "today"
        return f"{self.days} day{'' if self.days == 1 else 's'}"


@signed_in_page
def show_deficiencies(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show one page of the list, with the count of each class."""
    deficiency_filter, user = DeficiencyFilter.from_request(request), user_of(request)
    visible_boilers = policy.boilers_for(user, "board.see", at)
    rows = _filtered_rows(deficiency_filter, visible_boilers, at)
    deficiencies, after = _read_page(
        rows.filter(level_now=deficiency_filter.level) if deficiency_filter.level else rows,  # type: ignore[misc]
        deficiency_filter,
        query_text(request, "after"),
        at,
    )
    context = {
        "lines": _deficiency_lines(user, deficiencies, at),
        "older": deficiency_filter.query_string(after=after) if after else "",
        "counts": _level_counts(rows),
        "asked": deficiency_filter,
        "ages": AGES,
        "statuses": STATUSES,
        "portfolios": list(
            Portfolio.objects.filter(id__in=visible_boilers.order_by().values("portfolio")).order_by("name")
        ),
        "granted": policy.grants_for(user, "board.see", at).exists(),
        "as_of": at,
        "here": "deficiencies",
    }
    return render(request, "deficiencies/deficiencies.html", context)


def _filtered_rows(deficiency_filter: DeficiencyFilter, boilers: QuerySet[Any], at: datetime) -> QuerySet[Deficiency]:
    rows = deficiency_lists.deficiencies_at(deficiency_filter.boiler_filter.filter_boilers(boilers), at)
    if deficiency_filter.age:
        rows = rows.filter(opened_at__lte=at - timedelta(days=AGES[deficiency_filter.age][1]))
    return deficiency_lists.rows_of_status(rows, deficiency_filter.status or "open", at)


def _level_counts(rows: QuerySet[Deficiency]) -> list[tuple[str, int]]:
    count_by_level = dict(rows.order_by().values_list("level_now").annotate(Count("id")))  # type: ignore[misc]
    return [(level, count_by_level.get(level, 0)) for level in LEVELS]


def _read_page(
    rows: QuerySet[Deficiency], deficiency_filter: DeficiencyFilter, after: str, at: datetime
) -> tuple[list[DeficiencyDetail], str]:
    """Return the deficiencies after the key `after`, and the key of the next page ("" on the last page)."""
    place = _parse_place(after)
    if place:
        rows = rows.filter(rows_after(ORDER, place))
    ordered_rows = rows.select_related("boiler__building__portfolio", "position").order_by(*ORDER)
    fetched_rows: list[Any] = list(ordered_rows[: PER_PAGE + 1])
    page_rows = fetched_rows[:PER_PAGE]
    deficiencies = [
        deficiency
        for deficiency in deficiency_lists.deficiency_details(page_rows, at)
        if deficiency_lists.matches_status(deficiency, deficiency_filter.status)
    ]
    next_key = (
        f"{page_rows[-1].rank}_{page_rows[-1].opened_at.isoformat()}_{page_rows[-1].id}"
        if len(fetched_rows) > PER_PAGE
        else ""
    )
    return deficiencies, next_key


def _parse_place(after: str) -> tuple[int, datetime, UUID] | None:
    try:
        rank, opened, last = after.split("_")
        place = int(rank[:2]), datetime.fromisoformat(opened), UUID(last)
    except ValueError:
        return None
    return place if place[1].tzinfo else None


def _deficiency_lines(user: User, deficiencies: Sequence[DeficiencyDetail], at: datetime) -> list[DeficiencyLine]:
    jobs = current_job.current_jobs_of_deficiencies(user, [deficiency.row.id for deficiency in deficiencies], at)
    lines = []
    for deficiency in deficiencies:
        zone, end = deficiency.row.boiler.building.zone, deficiency.row.closed_at or at
        lines.append(
            DeficiencyLine(
                deficiency,
                (day_of(end, zone) - day_of(deficiency.row.opened_at, zone)).days,
                jobs.get(deficiency.row.id),
            )
        )
    return lines
