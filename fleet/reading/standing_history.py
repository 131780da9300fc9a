"""A boiler's standing at any instant: as stored, replayed from today's facts, or as it was known then."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.board import queries
from fleet.evidence import gather_evidence
from fleet.records.difference_store import as_json
from fleet.rules import judge


@dataclass(frozen=True, slots=True)
class StandingAt:
    """A boiler's standing at an instant, since when and until when, why, and what to do first.

    `known_at` None: judged by all facts known today.
    """

    at: datetime
    known_at: datetime | None
    since: datetime | None
    until: datetime | None
    standing: str
    reasons: Sequence[dict[str, object]]
    then: str


def standing_at(boiler: UUID, at: datetime, known_at: datetime | None = None) -> StandingAt:
    """Return the boiler's standing at `at`, past, present or future, always with a reason.

    Without `known_at` the stored segments answer from the newest entry on, into the future; earlier instants are
    replayed from the facts. With `known_at` only what was posted by then counts: the answer is what the board said
    then about `at`, by the catalogue in force then. Raises LookupError before the first catalogue is loaded.
    """
    if known_at is None:
        stored = queries.standing_of(boiler, at)
        if stored is not None:
            return StandingAt(
                at,
                None,
                since=stored.since,
                until=stored.until,
                standing=stored.standing,
                reasons=stored.reasons,
                then=stored.then,
            )
    evidence, _ = gather_evidence(boiler, known_at or _last_judged_at(boiler) or at, known_at)
    segment = judge(evidence, acts=(), at=known_at or at).standing_at(at)
    return StandingAt(
        at,
        known_at,
        since=segment.since,
        until=segment.until,
        standing=segment.standing.value,
        reasons=as_json(segment.reasons),
        then=segment.then,
    )


def _last_judged_at(boiler: UUID) -> datetime | None:
    last = queries.last_judgement(boiler)
    return last.judged_at if last else None
