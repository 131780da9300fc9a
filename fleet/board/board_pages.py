"""The board in pages of PER_PAGE boilers, worst first; standings are counted over all pages."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from django.db.models import Count, QuerySet

from fleet.board.models import Segment
from fleet.board.queries import BoardRow, holds_at
from fleet.portfolio.models import Boiler

BOARD_ORDER = ("rank", "boiler__building__address", "boiler__name", "boiler_id")
PER_PAGE = 100  # our choice: a page is fast to render, and most portfolios fit on one page


@dataclass(frozen=True, slots=True)
class BoardPage:
    """The rows of one page, worst first; counts by standing over all pages; the page's number and that of pages."""

    rows: list[BoardRow]
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


def board_page(boilers: QuerySet[Boiler], at: datetime, number: int, only: str = "") -> BoardPage:
    """Return page `number` (from 1, at most the last) of the board at `at`, of standing `only` or all: 3 queries."""
    segments = Segment.objects.filter(holds_at(at), boiler__in=boilers)
    counts = dict(segments.order_by().values_list("standing").annotate(Count("id")))
    whole = counts.get(only, 0) if only else sum(counts.values())
    pages = max(1, ceil(whole / PER_PAGE))
    number = max(1, min(number, pages))
    ordered_ids = (
        (segments.filter(standing=only) if only else segments).order_by(*BOARD_ORDER).values_list("id", flat=True)
    )
    # Ids are sorted first: with reasons and sentences thousands of rows are too wide for a sort in memory.
    listed = list(ordered_ids[(number - 1) * PER_PAGE : number * PER_PAGE])
    by_id = Segment.objects.filter(id__in=listed).select_related("boiler__building__portfolio").in_bulk()
    return BoardPage(
        [_board_row(by_id[i]) for i in listed if i in by_id], counts, number=number, pages=pages, whole=whole
    )


def zones_of(boilers: QuerySet[Boiler]) -> list[str]:
    """Return the time zones of the boilers' buildings."""
    return list(boilers.order_by("building__zone").values_list("building__zone", flat=True).distinct())


def _board_row(segment: Segment) -> BoardRow:
    s = segment
    return BoardRow(s.boiler, s.standing, rank=s.rank, reasons=s.reasons, then=s.then, since=s.since, until=s.until)
