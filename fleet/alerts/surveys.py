"""What the alerts of portfolio and building need, stored per boiler so that no other boiler must be judged again."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.alerts.models import Survey
from fleet.calendar.spans import Span as Ever
from fleet.portfolio.conclusions import plain
from fleet.portfolio.models import Boiler
from fleet.rules.portfolio import Span
from fleet.rules.values import Heat


@dataclass(frozen=True, slots=True)
class Kept:
    """Which parts of a boiler's survey row changed."""

    survey: bool
    heat: bool

    @property
    def written(self) -> int:
        """Rows written."""
        return int(self.survey or self.heat)


def keep(*, boiler: Boiler, spans: Sequence[Span], heat: Heat) -> Kept:
    """Make the boiler's row equal to what was concluded."""
    wanted, warmth = plain(spans), plain(heat)
    row = Survey.objects.filter(id=boiler.id).first()
    kept = Kept(row is None or row.spans != wanted, row is None or row.heat != warmth)
    if kept.written:
        row = row or Survey(id=boiler.id, boiler=boiler, portfolio_id=boiler.portfolio_id)
        row.spans, row.heat = wanted, warmth
        row.save()
    return kept


def of_portfolio(portfolio: UUID) -> Iterable[tuple[Span, ...]]:
    """Yield the unsurveyed spans of each boiler of a portfolio; one never judged is unsurveyed from its first day."""
    for since, spans in Boiler.objects.filter(portfolio=portfolio).values_list("since", "survey__spans"):
        yield ((since, None),) if spans is None else tuple((_instant(a), b and _instant(b)) for a, b in spans)


def of_building(building: UUID) -> list[Heat]:
    """Return the heat of each judged boiler of a building."""
    rows = Survey.objects.filter(boiler__building=building).order_by("id").values_list("heat", flat=True)
    return [_heat(row) for row in rows if row]


def _heat(row: Mapping[str, Any]) -> Heat:
    calls, lit = (tuple(_instant(t) for t in row[key]) for key in ("calls", "lit"))
    return Heat(_spans(row["absent"]), _spans(row["cold"]), _spans(row["seasons"]), calls, lit)


def _spans(rows: Iterable[Sequence[str | None]]) -> tuple[Ever, ...]:
    return tuple((_instant(a) if a else None, _instant(b) if b else None) for a, b in rows)


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)
