"""What the alerts of portfolio and building need, stored per boiler so that no other boiler must be judged again."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.alerts.models import Survey
from fleet.calendar.spans import Span as Ever
from fleet.portfolio.models import Boiler
from fleet.records.difference_store import as_json
from fleet.rules.answers.register_gaps import GapSpan
from fleet.rules.answers.unsurveyed import Span
from fleet.rules.values import HeatEvidence


@dataclass(frozen=True, slots=True)
class SurveyChange:
    """Which parts of a boiler's survey row changed."""

    survey: bool
    heat: bool

    @property
    def written(self) -> int:
        """Rows written."""
        return int(self.survey or self.heat)


def store_survey(*, boiler: Boiler, spans: Sequence[Span], gaps: Sequence[GapSpan], heat: HeatEvidence) -> SurveyChange:
    """Make the boiler's row equal to what was concluded."""
    spans_json, gaps_json, warmth = as_json(spans), as_json(gaps), as_json(heat)
    row = Survey.objects.filter(id=boiler.id).first()
    change = SurveyChange(
        row is None or row.spans != spans_json or row.gaps != gaps_json, row is None or row.heat != warmth
    )
    if change.written:
        row = row or Survey(id=boiler.id, boiler=boiler, portfolio_id=boiler.portfolio_id)
        row.spans, row.gaps, row.heat = spans_json, gaps_json, warmth
        row.save()
    return change


def gaps_of_portfolio(portfolio: UUID) -> Iterable[tuple[GapSpan, ...]]:
    """Yield of each judged boiler of a portfolio the spans in which its register left something out."""
    for rows in Survey.objects.filter(portfolio=portfolio).order_by("id").values_list("gaps", flat=True):
        yield tuple(
            GapSpan(
                _instant_from_json(row["since"]),
                row["until"] and _instant_from_json(row["until"]),
                urgent_at=row["urgent_at"] and _instant_from_json(row["urgent_at"]),
            )
            for row in rows
        )


def spans_of_portfolio(portfolio: UUID) -> Iterable[tuple[Span, ...]]:
    """Yield the unsurveyed spans of each boiler of a portfolio; one never judged is unsurveyed from its first day."""
    for since, spans in Boiler.objects.filter(portfolio=portfolio).values_list("since", "survey__spans"):
        yield (
            ((since, None),)
            if spans is None
            else tuple((_instant_from_json(a), b and _instant_from_json(b)) for a, b in spans)
        )


def heat_of_building(building: UUID) -> list[HeatEvidence]:
    """Return the heat of each judged boiler of a building."""
    rows = Survey.objects.filter(boiler__building=building).order_by("id").values_list("heat", flat=True)
    return [_heat_from_json(row) for row in rows if row]


def _heat_from_json(row: Mapping[str, Any]) -> HeatEvidence:
    calls, lit = (tuple(_instant_from_json(t) for t in row[key]) for key in ("calls", "lit"))
    return HeatEvidence(
        _spans_from_json(row["absent"]),
        _spans_from_json(row["cold"]),
        seasons=_spans_from_json(row["seasons"]),
        calls=calls,
        lit=lit,
    )


def _spans_from_json(rows: Iterable[Sequence[str | None]]) -> tuple[Ever, ...]:
    return tuple((_instant_from_json(a) if a else None, _instant_from_json(b) if b else None) for a, b in rows)


def _instant_from_json(text: str) -> datetime:
    return datetime.fromisoformat(text)
