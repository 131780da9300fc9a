"""What somebody should know of a portfolio as a whole: it follows from its boilers, whatever ran or did not."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from uuid import UUID

from fleet.calendar.spans import union
from fleet.rules.values import Condition, Level, Standing, StandingSegment

Span = tuple[datetime, datetime | None]  # from an instant to another (None: no end known)


def unsurveyed(since: datetime, surveyed: datetime | None, standings: Iterable[StandingSegment]) -> tuple[Span, ...]:
    """When nothing was known of a boiler: since it is on record until its survey, the times it was off left out."""
    spans: list[Span] = []
    for segment in standings:
        begin = since if segment.since is None else max(since, segment.since)
        end = min((t for t in (segment.until, surveyed) if t), default=None)
        if segment.standing is Standing.OFF or (end is not None and end <= begin):
            continue
        joins = bool(spans) and spans[-1][1] == begin
        spans.append((spans.pop()[0] if joins else begin, end))
    return tuple(spans)


def portfolio_conditions(portfolio: UUID, boilers: Iterable[Sequence[Span]], at: datetime) -> tuple[Condition, ...]:
    """The conditions of a portfolio, from when nothing was known of each of its boilers.

    *Not surveyed* is one, however many boilers: from the first that begins to when none is left.
    """
    spans = [span for known in boilers for span in known]
    return tuple(_not_surveyed(portfolio, since, until, spans, at) for since, until in union(spans) if since)


def _not_surveyed(
    portfolio: UUID, since: datetime, until: datetime | None, spans: Iterable[Span], at: datetime
) -> Condition:
    over = until is not None and until <= at
    count = sum(_within(s, since, until) if over else _within(s, at, at) for s in spans)
    return Condition("not_surveyed", portfolio, since, until, Level.URGENT, _told(count, over))


def _within(span: Span, since: datetime, until: datetime | None) -> bool:
    """Whether a span reaches into [since, until]."""
    begin, end = span
    return (until is None or begin <= until) and (end is None or end > since)


def _told(count: int, over: bool) -> str:
    one = count == 1
    if over:
        return f"{'One boiler' if one else f'{count} boilers'} had not been surveyed."
    if one:
        return "One boiler has not been surveyed: what protects it is not known."
    return f"{count} boilers have not been surveyed: what protects them is not known."
