"""Storing segments, and recording the changes of a write with the portfolio's next pulse version."""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.board.models import Change, ClassSpan, ProofGlass, Pulse, Segment, StandingSpan, StateSegment
from fleet.board.spans import class_rows, standing_rows
from fleet.portfolio.conclusions import plain, store
from fleet.portfolio.models import Boiler
from fleet.portfolio.news import Cause, News
from fleet.rules.values import Glass, Judgement, StandingSegment
from fleet.rules.values import StateSegment as State


def keep(*, boiler: Boiler, judgement: Judgement) -> int:
    """Store standings and states from the newest entry on, the glass, and spans of days; return the rows written.

    Earlier instants are replayed from facts on demand; the figures over time need only their days.
    """
    scope = {"boiler_id": boiler.id, "portfolio_id": boiler.portfolio_id}
    anchor, zone = judgement.anchor, boiler.building.zone
    return (
        store(Segment, scope=scope, key=("since",), rows=_standings(judgement.standings, anchor))
        + store(StateSegment, scope=scope, key=("position_id", "since"), rows=_states(judgement.states, anchor))
        + store(ProofGlass, scope=scope, key=(), rows=_glass(judgement.glass))
        + store(StandingSpan, scope=scope, key=("since_day",), rows=standing_rows(boiler, judgement, zone))
        + store(ClassSpan, scope=scope, key=("deficiency", "since_day"), rows=class_rows(boiler, judgement, zone))
    )


def _since(until: datetime | None, anchor: datetime | None) -> bool:
    """Whether a segment that ends at `until` reaches past the newest entry; earlier ones are not stored."""
    return until is None or anchor is None or until > anchor


def _standings(segments: Sequence[StandingSegment], anchor: datetime | None) -> Iterator[dict[str, Any]]:
    for segment in segments:
        if _since(segment.until, anchor):
            yield {
                "since": segment.since,
                "until": segment.until,
                "standing": segment.standing.value,
                "rank": segment.standing.rank,
                "reasons": plain(segment.reasons),
                "then": segment.then,
            }


def _glass(glass: Glass | None) -> list[dict[str, Any]]:
    """Return the values of the glass, or an empty list."""
    if glass is None:
        return []
    told = {f.name: getattr(glass, f.name) for f in fields(glass) if f.name != "position"}
    return [{**told, "position_id": glass.position}]


def _states(segments: Sequence[State], anchor: datetime | None) -> Iterator[dict[str, Any]]:
    for segment in segments:
        if _since(segment.until, anchor):
            yield {
                "position_id": segment.position,
                "since": segment.since,
                "until": segment.until,
                "state": segment.state.value,
                "marks": list(segment.marks),
                "reason": plain(segment.reason),
            }


def stamp(*, portfolio: UUID, news: Sequence[News], cause: Cause, at: datetime) -> int:
    """Record the events of a write under the pulse's next version, and return that version.

    Locks the pulse; it must be the last lock of a transaction.
    """
    version = _next_version(portfolio)
    Change.objects.bulk_create(_change(portfolio, version, n, one, cause, at) for n, one in enumerate(news))
    return version


def _next_version(portfolio: UUID) -> int:
    pulse, _ = Pulse.objects.select_for_update().get_or_create(portfolio_id=portfolio)
    pulse.version += 1
    pulse.save(update_fields=["version"])
    return pulse.version


def _change(portfolio: UUID, version: int, number: int, news: News, cause: Cause, at: datetime) -> Change:
    return Change(
        portfolio_id=portfolio,
        boiler_id=news.boiler,
        version=version,
        number=number,
        kind=news.kind,
        subject=news.subject,
        before=news.before,
        after=news.after,
        sentence=news.sentence,
        rule=news.rule,
        at=news.at,
        recorded_at=at,
        who=cause.who,
        reason=news.reason,
        request_id=cause.request_id,
    )
