"""The instants at which time alone changes something that is stored or shown."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from fleet.rules.answers.register_gaps import GapSpan
from fleet.rules.answers.unsurveyed import Span
from fleet.rules.values import HeatEvidence, Judgement


def next_boundary(judgement: Judgement, more: Iterable[datetime], at: datetime) -> datetime | None:
    """Return the earliest instant after `at` at which the judgement or one of `more` changes, None without any."""
    instants = [s.since for s in judgement.standings if s.since] + [s.since for s in judgement.states if s.since]
    instants += [i for d in judgement.deficiencies for i in (d.opened_at, *(s.since for s in d.levels))]
    instants += [i for c in judgement.conditions for i in (c.since, c.until) if i]
    return min((i for i in (*instants, *more) if i > at), default=None)


def span_boundaries(spans: Sequence[Span]) -> list[datetime]:
    """Return the instants at which spans begin and end; open ends are left out."""
    return [instant for span in spans for instant in span if instant]


def gap_boundaries(gaps: Sequence[GapSpan]) -> list[datetime]:
    """Return the instants at which a register begins or stops to leave something out, or that becomes urgent."""
    return [instant for gap in gaps for instant in (gap.since, gap.until, gap.urgent_at) if instant]


def heat_boundaries(heat: HeatEvidence) -> list[datetime]:
    """Return the instants at which a building may become cold or warm by time alone."""
    return [instant for span in (*heat.absent, *heat.cold, *heat.seasons) for instant in span if instant]


def has_passed(instants: Iterable[datetime], last: datetime | None, at: datetime) -> bool:
    """Whether one of the instants lies after `last` and not after `at`. Without `last`: whether one is past."""
    return any((last is None or last < i) and i <= at for i in instants)
