"""The board in pages: all that needs somebody, and of the rest as many as are asked for; every standing counted."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.board.models import Segment
from fleet.board.queries import Row, holds_at
from fleet.portfolio.models import Boiler

ORDER = ("rank", "boiler__building__address", "boiler__name", "boiler_id")


@dataclass(frozen=True, slots=True)
class Shown:
    """The rows, worst first, and how many boilers stand where."""

    rows: list[Row]
    counts: Mapping[str, int]
    left: Mapping[str, int]  # by standing: how many are not shown


def page(boilers: QuerySet[Boiler], at: datetime, most: Mapping[str, int], only: str = "") -> Shown:
    """The board at `at` in two queries; `most` limits the standings it names, `only` shows a single one."""
    found = Segment.objects.filter(holds_at(at), boiler__in=boilers)
    chosen: list[UUID] = []
    counts: Counter[str] = Counter()
    left: Counter[str] = Counter()
    for segment, standing in found.order_by(*ORDER).values_list("id", "standing"):
        counts[standing] += 1
        if only and standing != only:
            continue
        if counts[standing] <= most.get(standing, counts[standing]):
            chosen.append(segment)
        else:
            left[standing] += 1
    told = Segment.objects.filter(id__in=chosen).select_related("boiler__building__portfolio").in_bulk()
    return Shown([_row(told[i]) for i in chosen if i in told], counts, left)


def zones(boilers: QuerySet[Boiler]) -> list[str]:
    """The time zones of their buildings."""
    return list(boilers.order_by("building__zone").values_list("building__zone", flat=True).distinct())


def _row(segment: Segment) -> Row:
    s = segment
    return Row(s.boiler, s.standing, s.rank, s.reasons, s.then, s.since, s.until)
