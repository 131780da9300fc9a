"""Storing segments, and recording the changes of a write with the portfolio's next pulse version."""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from datetime import datetime
from uuid import UUID

from fleet.board.models import Change, ClassSpan, ProofGlass, Pulse, Segment, StandingSpan, StateSegment
from fleet.board.spans import class_rows, standing_rows
from fleet.portfolio.models import Boiler
from fleet.records.difference_store import as_json, store_conclusions
from fleet.records.events import Cause, ChangeEvent
from fleet.rules.values import GlassLevel, Judgement, StandingSegment
from fleet.rules.values import PositionStateSegment as State


def store_segments(*, boiler: Boiler, judgement: Judgement) -> int:
    """Store standings and states from the newest entry on, the glass, and spans of days; return the rows written.

    Earlier instants are replayed from facts on demand; the figures over time need only their days.
    """
    scope = {"boiler_id": boiler.id, "portfolio_id": boiler.portfolio_id}
    anchor, zone = judgement.anchor, boiler.building.zone
    return (
        store_conclusions(Segment, scope=scope, key=("since",), rows=_segment_rows(judgement.standings, anchor))
        + store_conclusions(
            StateSegment, scope=scope, key=("position_id", "since"), rows=_state_rows(judgement.states, anchor)
        )
        + store_conclusions(ProofGlass, scope=scope, key=(), rows=_glass_rows(judgement.glass))
        + store_conclusions(StandingSpan, scope=scope, key=("since_day",), rows=standing_rows(boiler, judgement, zone))
        + store_conclusions(
            ClassSpan, scope=scope, key=("deficiency", "since_day"), rows=class_rows(boiler, judgement, zone)
        )
    )


def _reaches_past(until: datetime | None, anchor: datetime | None) -> bool:
    """Whether a segment that ends at `until` reaches past the newest entry; earlier ones are not stored."""
    return until is None or anchor is None or until > anchor


def _segment_rows(segments: Sequence[StandingSegment], anchor: datetime | None) -> Iterator[dict[str, object]]:
    for segment in segments:
        if _reaches_past(segment.until, anchor):
            yield {
                "since": segment.since,
                "until": segment.until,
                "standing": segment.standing.value,
                "rank": segment.standing.rank,
                "reasons": as_json(segment.reasons),
                "bare": list(segment.bare),
                "then": segment.then,
            }


def _glass_rows(glass: GlassLevel | None) -> list[dict[str, object]]:
    """Return the values of the glass, or an empty list."""
    if glass is None:
        return []
    values = {f.name: getattr(glass, f.name) for f in fields(glass) if f.name != "position"}
    return [{**values, "position_id": glass.position}]


def _state_rows(segments: Sequence[State], anchor: datetime | None) -> Iterator[dict[str, object]]:
    for segment in segments:
        if _reaches_past(segment.until, anchor):
            yield {
                "position_id": segment.position,
                "since": segment.since,
                "until": segment.until,
                "state": segment.state.value,
                "marks": list(segment.marks),
                "reason": as_json(segment.reason),
            }


def record_changes(*, portfolio: UUID, events: Sequence[ChangeEvent], cause: Cause, at: datetime) -> int:
    """Record the events of a write under the pulse's next version, and return that version.

    Locks the pulse; it must be the last lock of a transaction.
    """
    version = _next_version(portfolio)
    Change.objects.bulk_create(
        _change_row(portfolio, version, number=n, event=event, cause=cause, at=at) for n, event in enumerate(events)
    )
    return version


def _next_version(portfolio: UUID) -> int:
    pulse, _ = Pulse.objects.select_for_update().get_or_create(portfolio_id=portfolio)
    pulse.version += 1
    pulse.save(update_fields=["version"])
    return pulse.version


def _change_row(portfolio: UUID, version: int, number: int, event: ChangeEvent, cause: Cause, at: datetime) -> Change:
    return Change(
        portfolio_id=portfolio,
        boiler_id=event.boiler,
        version=version,
        number=number,
        kind=event.kind,
        subject=event.subject,
        before=event.before,
        after=event.after,
        sentence=event.sentence,
        rule=event.rule,
        at=event.at,
        recorded_at=at,
        who=cause.who,
        reason=event.reason,
        request_id=cause.request_id,
    )
