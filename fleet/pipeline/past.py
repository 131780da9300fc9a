"""A boiler's standing at any instant: stored, replayed by what is known today, or as it was known then."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.board import queries
from fleet.evidence import gather
from fleet.pipeline.conclude import segment_at
from fleet.portfolio.conclusions import plain
from fleet.rules import judge


@dataclass(frozen=True, slots=True)
class Told:
    """What a boiler stood at, from when until when, why, and what was to be done; `known_at` None: by all known."""

    at: datetime
    known_at: datetime | None
    since: datetime | None
    until: datetime | None
    standing: str
    reasons: Sequence[dict[str, Any]]
    then: str


def standing(boiler: UUID, at: datetime, known_at: datetime | None = None) -> Told:
    """What the boiler stands, stood or will stand at, never without a reason.

    By present knowledge the stored segments answer from the newest entry on, into the future; what lies before is
    replayed from the facts. With `known_at` only what was posted by then counts: what the board said then of `at`.
    The catalogue is the one in force when it was known. LookupError before the first catalogue is loaded.
    """
    if known_at is None:
        stored = queries.standing_of(boiler, at)
        if stored is not None:
            return Told(at, None, stored.since, stored.until, stored.standing, stored.reasons, stored.then)
    evidence, _ = gather(boiler, known_at or _judged_at(boiler) or at, known_at)
    found = segment_at(judge(evidence, acts=(), at=known_at or at), at)
    return Told(at, known_at, found.since, found.until, found.standing.value, plain(found.reasons), found.then)


def _judged_at(boiler: UUID) -> datetime | None:
    last = queries.judged(boiler)
    return last.judged_at if last else None
