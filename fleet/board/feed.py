"""The feed of changes in pulse order: within a portfolio no change is missed, even while others post.

A version is taken under the lock of the portfolio's pulse and committed before the next can be taken, so a reader who
sees a version sees all before it. A position in the feed is therefore one (version, number) per portfolio, never one
counter over all of them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, islice, zip_longest
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.board.models import Change
from fleet.portfolio.models import Boiler
from fleet.records.row_order import rows_after

FeedPosition = Mapping[UUID, tuple[int, int]]
FEED_START = (0, -1)
PULSE_ORDER = ("version", "number")


@dataclass(frozen=True, slots=True)
class ChangeFeed:
    """What a reader may see, and which of it is wanted.

    `whole` are the portfolios whose own changes may be seen; `boiler` and `kind` narrow the feed.
    """

    portfolios: Sequence[UUID]
    boilers: QuerySet[Boiler]
    whole: frozenset[UUID] = frozenset()
    boiler: UUID | None = None
    kind: str = ""


@dataclass(frozen=True, slots=True)
class FeedPage:
    """Some changes in order, the position after them, and whether there are more already."""

    changes: list[Change]
    place: dict[UUID, tuple[int, int]]
    more: bool


def next_page(feed: ChangeFeed, after: FeedPosition, most: int) -> FeedPage:
    """Return at most `most` changes after a position, taken in turn from each portfolio: one query for each."""
    by_portfolio = [list(_changes_after(feed, p, after.get(p, FEED_START))[: most + 1]) for p in feed.portfolios]
    turns = [c for c in chain.from_iterable(zip_longest(*by_portfolio)) if c is not None]
    changes = list(islice(turns, most))
    place = dict(after) | {c.portfolio_id: (c.version, c.number) for c in changes}
    return FeedPage(changes, place, more=len(turns) > most)


def _changes_after(feed: ChangeFeed, portfolio: UUID, place: tuple[int, int]) -> QuerySet[Change]:
    visible = Q(boiler__in=feed.boilers)
    if portfolio in feed.whole:
        visible |= Q(boiler=None)
    changes = Change.objects.filter(rows_after(PULSE_ORDER, place), visible, portfolio=portfolio)
    if feed.boiler:
        changes = changes.filter(boiler=feed.boiler)
    if feed.kind:
        changes = changes.filter(kind=feed.kind)
    return changes.order_by(*PULSE_ORDER)
