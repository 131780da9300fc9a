"""Figures over time, by present knowledge, each in a fixed number of queries over spans.

All take the boilers to count and whole local days, both ends included. A day shows what held when it ended at each
boiler's building. A future day is a forecast by time alone.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import accumulate
from typing import Any

from django.db.models import Count, F, Q, QuerySet

from fleet.board.models import ClassSpan, StandingSpan
from fleet.portfolio.models import Boiler
from fleet.rules.values import LEVELS, STANDINGS

# Age bands of open deficiencies, in days: each from its number up to the next one (common practice).
AGE_BANDS = (0, 7, 30, 90)


@dataclass(frozen=True, slots=True)
class DayCounts:
    """One local day and a count for every name."""

    day: date
    counts: dict[str, int]


def standings_per_day(boilers: QuerySet[Boiler], first: date, last: date) -> list[DayCounts]:
    """Return how many boilers were in each standing at the end of each day, counted from their register dates on."""
    spans = StandingSpan.objects.filter(boiler__in=boilers)
    return list(_per_day(spans, "standing", names=STANDINGS, first=first, last=last))


def open_by_class_per_day(boilers: QuerySet[Boiler], first: date, last: date) -> list[DayCounts]:
    """Return how many deficiencies of each class were open at the end of each day."""
    spans = ClassSpan.objects.filter(boiler__in=boilers)
    return list(_per_day(spans, "level", names=LEVELS, first=first, last=last))


def _per_day(spans: QuerySet[Any], name: str, names: Sequence[str], first: date, last: date) -> Iterator[DayCounts]:
    """Count what holds on the first day, then what begins and ends on each later one: three queries."""
    now = Counter(dict(_held_on(spans, first).values_list(name).annotate(Count("id"))))
    steps: dict[date, Counter[str]] = {}
    for column, sign in (("since_day", 1), ("until_day", -1)):
        moved_spans = spans.filter(**{f"{column}__gt": first, f"{column}__lte": last})
        for day, value, count in moved_spans.values_list(column, name).annotate(Count("id")):
            steps.setdefault(day, Counter())[value] += sign * count
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        for value, change in steps.get(day, {}).items():
            now[value] += change
        yield DayCounts(day, {n: now[n] for n in names})


def _held_on(spans: QuerySet[Any], day: date) -> QuerySet[Any]:
    return spans.filter(Q(until_day=None) | Q(until_day__gt=day), since_day__lte=day)


def age_bands_per_day(boilers: QuerySet[Boiler], first: date, last: date) -> list[DayCounts]:
    """Return how many open deficiencies were of each age at the end of each day: one query. The opening day is day 0.

    An episode passes from band to band as it grows older, so its spans are cut there.
    """
    spans = ClassSpan.objects.filter(Q(until_day=None) | Q(until_day__gt=first), boiler__in=boilers)
    same = spans.filter(since_day__lte=last).values_list("opened_day", "since_day", "until_day").annotate(Count("id"))
    length = (last - first).days + 1
    steps = {name: [0] * (length + 1) for name in BAND_NAMES}
    for opened, since, until, count in same:
        for name, begin, end in _cut_into_bands(opened, since, until or date.max):
            at, over = (min(max((day - first).days, 0), length) for day in (begin, end))
            steps[name][at] += count
            steps[name][over] -= count
    counts = {name: list(accumulate(changes)) for name, changes in steps.items()}
    return [DayCounts(first + timedelta(days=n), {name: counts[name][n] for name in BAND_NAMES}) for n in range(length)]


def _cut_into_bands(opened: date, since: date, until: date) -> Iterator[tuple[str, date, date]]:
    """Cut a span where its deficiency passes from band to band."""
    for name, youngest, oldest in zip(BAND_NAMES, AGE_BANDS, (*AGE_BANDS[1:], None), strict=True):
        begin = max(since, opened + timedelta(days=youngest))
        end = until if oldest is None else min(until, opened + timedelta(days=oldest))
        if begin < end:
            yield name, begin, end


BAND_NAMES = tuple(
    f"days_{low}_to_{high - 1}" if high else f"days_{low}_and_more"
    for low, high in zip(AGE_BANDS, (*AGE_BANDS[1:], 0), strict=True)
)


def oldest_opening(boilers: QuerySet[Boiler], day: date) -> date | None:
    """Return when the oldest deficiency still open at the end of a day was opened: one query."""
    spans = _held_on(ClassSpan.objects.filter(boiler__in=boilers), day)
    return spans.order_by(F("opened_day").asc()).values_list("opened_day", flat=True).first()
