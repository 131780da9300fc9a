"""The class of a deficiency as segments in time: constant, or changing by itself. No decision makes it less."""

from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise

from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.values import Level, LevelSegment


def level_segments(case: EpisodeCase) -> tuple[LevelSegment, ...]:
    """Return the class of an episode from its opening to its closing, without gaps."""
    steps = sorted([(case.opened_at, case.level), *case.later], key=lambda s: s[0])
    return tuple(_level_segments(steps, case.closed_at))


def _level_segments(steps: list[tuple[datetime, Level]], closed_at: datetime | None) -> Iterator[LevelSegment]:
    for (since, level), following in pairwise([*steps, None]):  # type: ignore[misc]
        until = following[0] if following else closed_at
        if closed_at is not None and (until is None or until > closed_at):
            until = closed_at
        if until is None or since < until:
            yield LevelSegment(since, until, level)
