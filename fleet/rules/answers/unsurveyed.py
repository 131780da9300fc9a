"""What somebody should know of a portfolio as a whole: it follows from its boilers, whatever ran or did not."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from uuid import UUID

from fleet.calendar.spans import merge_spans
from fleet.rules.values import Condition, Level, Standing, StandingSegment

Span = tuple[datetime, datetime | None]  # from an instant to another (None: no end known)


def unsurveyed_spans(
    since: datetime, surveyed: datetime | None, standings: Iterable[StandingSegment]
) -> tuple[Span, ...]:
    """Return the spans in which nothing was known of a boiler: from its record to its survey, times off aside."""
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
    """Return the conditions of a portfolio, from the spans in which nothing was known of each of its boilers.

    *Not surveyed* is one condition for all boilers: from the first span that begins to the end of the last.
    """
    spans = [span for boiler_spans in boilers for span in boiler_spans]
    return tuple(
        _not_surveyed(portfolio, since, until=until, spans=spans, at=at) for since, until in merge_spans(spans) if since
    )


def _not_surveyed(
    portfolio: UUID, since: datetime, until: datetime | None, spans: Iterable[Span], at: datetime
) -> Condition:
    # Once it is over all its boilers are counted, until then those of which nothing is known at `at`.
    begin, end = (since, until) if until is not None and until <= at else (at, at)
    count, is_over = sum(_is_within(s, begin, end) for s in spans), end == until
    return Condition(
        "not_surveyed",
        portfolio,
        since=since,
        until=until,
        level=Level.URGENT,
        sentence=_unsurveyed_sentence(count, is_over),
    )


def _is_within(span: Span, since: datetime, until: datetime) -> bool:
    """Return whether a span reaches into [since, until]."""
    begin, end = span
    return begin <= until and (end is None or end > since)


def _unsurveyed_sentence(count: int, over: bool) -> str:
    is_single = count == 1
    if over:
        return f"{'One boiler' if is_single else f'{count} boilers'} had not been surveyed."
    if is_single:
        return "One boiler has not been surveyed: what protects it is not known."
    return f"{count} boilers have not been surveyed: what protects them is not known."
