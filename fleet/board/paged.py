"""The board in pages of PER_PAGE boilers, worst first; standings are counted over all pages."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from django.db.models import Count, QuerySet

from fleet.board.models import Segment
from fleet.board.queries import Row, holds_at
from fleet.portfolio.models import Boiler

ORDER = ("rank", "boiler__building__address", "boiler__name", "boiler_id")
PER_PAGE = 100  # our choice: a page is fast to render, and most portfolios fit on one page


@dataclass(frozen=True, slots=True)
class Shown:
    """The rows of one page, worst first; counts by standing over all pages; the page's number and that of pages."""

    rows: list[Row]
    counts: Mapping[str, int]
    number: int
    pages: int
    whole: int  # rows on all pages together

    @property
    def first(self) -> int:
        """The number of the first row here, counted from 1; 0 where there is none."""
        return (self.number - 1) * PER_PAGE + 1 if self.rows else 0

    @property
    def last(self) -> int:
        """The number of the last row here; 0 where there is none."""
        return self.first + len(self.rows) - 1 if self.rows else 0


def page(boilers: QuerySet[Boiler], at: datetime, number: int, only: str = "") -> Shown:
    """Return page `number` (from 1, at most the last) of the board at `at`, of standing `only` or all: 3 queries."""
    found = Segment.objects.filter(holds_at(at), boiler__in=boilers)
    counts = dict(found.order_by().values_list("standing").annotate(Count("id")))
    whole = counts.get(only, 0) if only else sum(counts.values())
    pages = max(1, ceil(whole / PER_PAGE))
    number = max(1, min(number, pages))
    chosen = (found.filter(standing=only) if only else found).order_by(*ORDER).values_list("id", flat=True)
    # Ids are sorted first: with reasons and sentences thousands of rows are too wide for a sort in memory.
    listed = list(chosen[(number - 1) * PER_PAGE : number * PER_PAGE])
    told = Segment.objects.filter(id__in=listed).select_related("boiler__building__portfolio").in_bulk()
    return Shown([_row(told[i]) for i in listed if i in told], counts, number, pages, whole)


def zones(boilers: QuerySet[Boiler]) -> list[str]:
    """Return the time zones of the boilers' buildings."""
    return list(boilers.order_by("building__zone").values_list("building__zone", flat=True).distinct())


def _row(segment: Segment) -> Row:
    s = segment
    return Row(s.boiler, s.standing, s.rank, s.reasons, s.then, s.since, s.until)
