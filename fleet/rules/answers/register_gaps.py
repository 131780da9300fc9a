"""Registers that leave something out: one condition for a portfolio, from the spans of each of its boilers."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.calendar.spans import merge_spans
from fleet.rules.finding_codes import FindingCode
from fleet.rules.values import Condition, JudgedDeficiency, Level


@dataclass(frozen=True, slots=True)
class GapSpan:
    """From when to when (None: no end known) a boiler's register left something out, and from when that is urgent."""

    since: datetime
    until: datetime | None
    urgent_at: datetime | None


def register_gap_spans(deficiencies: Iterable[JudgedDeficiency]) -> tuple[GapSpan, ...]:
    """Return the spans in which one boiler's register left something out, in order."""
    spans = [
        GapSpan(d.opened_at, d.closed_at, next((s.since for s in d.levels if s.level is Level.URGENT), None))
        for d in deficiencies
        if d.rule == FindingCode.NOT_ON_RECORD
    ]
    return tuple(sorted(spans, key=lambda s: s.since))


def register_gap_conditions(
    portfolio: UUID, boilers: Iterable[Sequence[GapSpan]], at: datetime
) -> tuple[Condition, ...]:
    """Return the one condition of a portfolio while any register leaves something out.

    It is urgent while any of them is, at `at` or, once it is over, at its end.
    """
    spans = [span for boiler_spans in boilers for span in boiler_spans]
    return tuple(
        _condition(portfolio, since, until=until, spans=spans, at=at)
        for since, until in merge_spans((s.since, s.until) for s in spans)
        if since
    )


def _condition(
    portfolio: UUID, since: datetime, *, until: datetime | None, spans: Sequence[GapSpan], at: datetime
) -> Condition:
    is_over = until is not None and until <= at
    own = [s for s in spans if s.since >= since and (until is None or s.since < until)]
    counted = own if is_over else [s for s in own if s.since <= at and (s.until is None or s.until > at)]
    now = until if is_over and until else at
    is_urgent = any(s.urgent_at is not None and s.urgent_at <= now for s in counted)
    return Condition(
        "not_on_record",
        portfolio,
        since=since,
        until=until,
        level=Level.URGENT if is_urgent else Level.ROUTINE,
        sentence=_sentence(len(counted), is_over),
    )


def _sentence(count: int, is_over: bool) -> str:
    subject = "One boiler's register" if count == 1 else f"The registers of {count} boilers"
    verb = "left out" if is_over else "leaves out" if count == 1 else "leave out"
    return f"{subject} {verb} what such a boiler needs: until it is on record, nobody knows whether it is there."
