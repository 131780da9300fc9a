"""When nothing was known of each boiler: kept so that the portfolio's alert needs no other boiler judged again."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from uuid import UUID

from fleet.alerts.models import Survey
from fleet.portfolio.conclusions import plain
from fleet.portfolio.models import Boiler
from fleet.rules.portfolio import Span


def keep(*, boiler: Boiler, spans: Sequence[Span]) -> int:
    """Make the boiler's row equal to what was concluded; return rows written."""
    wanted = plain(spans)
    row = Survey.objects.filter(id=boiler.id).first()
    if row is not None and row.spans == wanted:
        return 0
    if row is None:
        row = Survey(id=boiler.id, boiler=boiler, portfolio_id=boiler.portfolio_id)
    row.spans = wanted
    row.save()
    return 1


def of_portfolio(portfolio: UUID) -> Iterable[tuple[Span, ...]]:
    """The spans of each boiler of a portfolio; of one that was never judged nothing is known since it is on record."""
    for since, spans in Boiler.objects.filter(portfolio=portfolio).values_list("since", "survey__spans"):
        yield ((since, None),) if spans is None else tuple((_instant(a), b and _instant(b)) for a, b in spans)


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)
