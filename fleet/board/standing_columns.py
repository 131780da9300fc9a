"""Boilers and positions with their standing or state at an instant, as columns to order and filter by.

Segments that ended before the newest entry are not stored. For an earlier instant the first stored segment is used.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import TypeVar
from uuid import UUID

from django.db.models import Count, F, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from fleet.board.models import Segment, StateSegment
from fleet.portfolio.models import Boiler, Position, ServiceState
from fleet.records.row_spans import not_ended
from fleet.rules.values import STANDINGS, ServiceMode, Standing

NOT_SURVEYED = Standing.NOT_SURVEYED


def with_standing(boilers: QuerySet[Boiler], at: datetime) -> QuerySet[Boiler]:
    """Return the boilers with `segment`, `standing`, `rank` (0 worst) and `service` at `at`.

    A boiler that was never judged is not surveyed.
    """
    now = _holding_first(Segment.objects.filter(boiler=OuterRef("pk")), at)
    statements = ServiceState.objects.filter(boiler=OuterRef("pk"), since__lte=at).order_by("-since", "-posted_at")
    return boilers.select_related("building").annotate(
        segment=Subquery(now.values("id")[:1]),
        standing=Coalesce(Subquery(now.values("standing")[:1]), Value(NOT_SURVEYED.value)),
        rank=Coalesce(Subquery(now.values("rank")[:1]), Value(NOT_SURVEYED.rank)),
        service=Coalesce(Subquery(statements.values("state")[:1]), Value(ServiceMode.IN_SERVICE.value)),
    )


def with_state(positions: QuerySet[Position], at: datetime, boiler: UUID | None = None) -> QuerySet[Position]:
    """Return the positions with `segment` and `state` at `at`.

    A place of a header group has a state on each boiler: that of `boiler` is used, or of the first by id.
    """
    state_segments = StateSegment.objects.filter(position=OuterRef("pk"))
    now = _holding_first(state_segments.filter(boiler=boiler) if boiler else state_segments, at, "boiler_id")
    return positions.select_related("role").annotate(
        segment=Subquery(now.values("id")[:1]), state=Coalesce(Subquery(now.values("state")[:1]), Value(""))
    )


Rows = TypeVar("Rows", Segment, StateSegment)


def _holding_first(segments: QuerySet[Rows], at: datetime, *before: str) -> QuerySet[Rows]:
    """Order segments so that the one that holds at `at` comes first."""
    reaching = segments.filter(not_ended(at))
    return reaching.order_by(F("since").asc(nulls_first=True), *before)


def segments_by_id(ids: Iterable[UUID | None]) -> dict[UUID, Segment]:
    """Return standing segments by id."""
    return Segment.objects.in_bulk([i for i in ids if i])


def states_by_id(ids: Iterable[UUID | None]) -> dict[UUID, StateSegment]:
    """Return state segments by id."""
    return StateSegment.objects.in_bulk([i for i in ids if i])


def count_standings(boilers: QuerySet[Boiler], at: datetime) -> dict[UUID, dict[str, int]]:
    """Return how many boilers of each portfolio are in each standing at `at`; every standing is a key."""
    grouped = with_standing(boilers, at).order_by().values_list("portfolio", "standing").annotate(Count("id"))  # type: ignore[misc]
    by_portfolio: dict[UUID, dict[str, int]] = {}
    for portfolio, standing, number in grouped:
        by_portfolio.setdefault(portfolio, dict.fromkeys(STANDINGS, 0))[standing] = number
    return by_portfolio
