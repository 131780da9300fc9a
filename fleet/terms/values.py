"""From adopted rows to terms as values of the rules."""

from collections.abc import Iterable
from typing import Any

from fleet.calendar import Interval, Season, day_start
from fleet.rules.values import Override, Terms
from fleet.terms.models import Adoption

DEFAULT = Terms(since=None, season=Season(10, 1, 5, 31))


def as_terms(rows: Iterable[Adoption], zone: str) -> tuple[Terms, ...]:
    """Return the portfolio's terms in a building's zone; the defaults where it adopted nothing."""
    found = tuple(_one(row, zone) for row in rows)
    return found or (DEFAULT,)


def version(rows: Iterable[Adoption]) -> int:
    """Return the newest version adopted, 0 for the defaults."""
    return max((row.version for row in rows), default=0)


def _one(row: Adoption, zone: str) -> Terms:
    return Terms(
        since=day_start(row.starts_on, zone) if row.starts_on else None,
        season=season(row.season) if row.season else None,
        urgent_days=row.urgent_days,
        due_soon_days=row.due_soon_days,
        operator_firing_days=row.operator_firing_days,
        variants=row.variants,
        overrides={code: _override(own) for code, own in row.overrides.items()},
        gauge_most_psi=row.gauge_most_psi,
        relief_rule=row.relief_rule,
    )


def _override(own: dict[str, Any]) -> Override:
    return Override(Interval.parse(own["interval"]), own.get("anchor", ""), int(own["grace_days"]), own["source"])


def season(text: str) -> Season:
    """Read "10-01/05-31": the first and last day of the heating season. Raises ValueError for any other text."""
    start, end = text.split("/")
    (start_month, start_day), (end_month, end_day) = (map(int, part.split("-")) for part in (start, end))
    return Season(start_month, start_day, end_month, end_day)
