"""From adopted rows to terms as values of the rules."""

from collections.abc import Iterable
from typing import Any

from fleet.calendar import HeatingSeason, Interval, day_start
from fleet.rules.values import AdoptedTerms, Override
from fleet.terms.models import Adoption

DEFAULT_TERMS = AdoptedTerms(since=None, season=HeatingSeason(10, 1, 5, 31))


def as_terms(rows: Iterable[Adoption], zone: str) -> tuple[AdoptedTerms, ...]:
    """Return the portfolio's terms in a building's zone; the defaults where it adopted nothing."""
    terms = tuple(_terms_of_row(row, zone) for row in rows)
    return terms or (DEFAULT_TERMS,)


def newest_version(rows: Iterable[Adoption]) -> int:
    """Return the newest version adopted, 0 for the defaults."""
    return max((row.version for row in rows), default=0)


def _terms_of_row(row: Adoption, zone: str) -> AdoptedTerms:
    return AdoptedTerms(
        since=day_start(row.starts_on, zone) if row.starts_on else None,
        season=parse_season(row.season) if row.season else None,
        urgent_days=row.urgent_days,
        due_soon_days=row.due_soon_days,
        operator_firing_days=row.operator_firing_days,
        variants=row.variants,
        overrides={code: _read_override(override) for code, override in row.overrides.items()},
        gauge_most_psi=row.gauge_most_psi,
        relief_rule=row.relief_rule,
    )


def _read_override(override: dict[str, Any]) -> Override:
    return Override(
        Interval.parse(override["interval"]),
        override.get("anchor", ""),
        int(override["grace_days"]),
        override["source"],
    )


def parse_season(text: str) -> HeatingSeason:
    """Read "10-01/05-31": the first and last day of the heating season. Raises ValueError for any other text."""
    start, end = text.split("/")
    (start_month, start_day), (end_month, end_day) = (map(int, part.split("-")) for part in (start, end))
    return HeatingSeason(start_month, start_day, end_month, end_day)
