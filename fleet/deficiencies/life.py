"""What the acts of people come to: with the evidence and the class now, and in this one place."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.deficiencies.models import Act, Deficiency
from fleet.rules.values import Act as RulesAct
from fleet.rules.values import Judgement, Level, LevelSegment, deficiency_id

_RANK = {level.value: rank for rank, level in enumerate(Level)}  # 0 the worst


@dataclass(frozen=True, slots=True)
class Life:
    """One deficiency at an instant. Deferring silences reminders: it never improves what is known."""

    status: str  # open → assigned → repaired → closed; withdrawn and merged apart
    level: str
    assigned: Act | None
    reported: Act | None
    deferred: Act | None
    deferred_until: datetime | None
    explained: Act | None


@dataclass(frozen=True, slots=True)
class Episode:
    """The part of a deficiency that says which acts are about it."""

    id: UUID
    position: UUID | None
    rule: str
    opened_at: datetime
    closed_at: datetime | None

    def holds(self, at: datetime) -> bool:
        """Whether it was open at `at`."""
        return self.opened_at <= at and (self.closed_at is None or at < self.closed_at)


def life(row: Deficiency, acts: Iterable[Act], at: datetime) -> Life:
    """Where a deficiency is at `at`, by its row and the acts that are about it."""
    newest = {act.kind: act for act in sorted(acts, key=lambda a: (a.at, a.acted_on)) if act.at <= at}
    reported = newest.get("repair_reported")
    if reported and reported.done_at and reported.done_at < (row.found_at or row.opened_at):
        reported = None  # what was done before it was found, or found again, did not put it right
    deferred = newest.get("deferred")
    until = deferral_end(deferred, row) if deferred else None
    running = until is not None and at < until
    return Life(
        status=_status(row, newest.get("assigned"), reported),
        level=level_at(row, at),
        assigned=newest.get("assigned"),
        reported=reported,
        deferred=deferred if running else None,
        deferred_until=until if running else None,
        explained=newest.get("explained"),
    )


def _status(row: Deficiency, assigned: Act | None, reported: Act | None) -> str:
    if row.status != "open":
        return row.status
    if reported:
        return "repaired"
    return "assigned" if assigned else "open"


def level_at(row: Deficiency, at: datetime) -> str:
    """Its class at `at`: the segments follow one another and the last one that has begun holds.

    One that was found and put right in the same breath never had a class: "".
    """
    begun = [s["level"] for s in row.levels if datetime.fromisoformat(s["since"]) <= at]
    first = [s["level"] for s in row.levels[:1]]
    return str((begun or first or [""])[-1])


def deferral_end(act: Act, row: Deficiency) -> datetime | None:
    """When a deferral ends: at its end, when the class rises above the one it was deferred in, when it is closed."""
    rises = [max(s.since, act.at) for s in levels_after(row, act.at) if _RANK[s.level.value] < _RANK[act.level]]
    return min((end for end in (act.until, row.closed_at, *rises) if end), default=None)


def levels_after(row: Deficiency, at: datetime) -> Iterable[LevelSegment]:
    """The classes it has from `at` on."""
    for segment in row.levels:
        until = datetime.fromisoformat(segment["until"]) if segment["until"] else None
        if until is None or until > at:
            yield LevelSegment(datetime.fromisoformat(segment["since"]), until, Level(segment["level"]))


def of_rows(rows: Iterable[Deficiency]) -> list[Episode]:
    """The episodes as they are stored."""
    return [Episode(r.id, r.position_id, r.rule, r.opened_at, r.closed_at) for r in rows if not r.withdrawn]


def of_judgement(boiler: UUID, judgement: Judgement) -> list[Episode]:
    """The episodes as they were concluded."""
    return [
        Episode(deficiency_id(boiler, d.position, d.rule, d.episode), d.position, d.rule, d.opened_at, d.closed_at)
        for d in judgement.deficiencies
    ]


def home(rule: str, position: UUID | None, at: datetime, episodes: Iterable[Episode]) -> UUID | None:
    """The episode that was open at `at` at this position by this rule, None if none was."""
    same = (e for e in episodes if (e.rule, e.position) == (rule, position))
    return next((e.id for e in same if e.holds(at)), None)


def by_episode(acts: Iterable[Act], episodes: Sequence[Episode]) -> Mapping[UUID, list[Act]]:
    """The acts under the deficiency each is about now: late evidence joins, splits and renumbers episodes.

    An act whose episode is nowhere any more stays with the deficiency it was recorded on.
    """
    found: dict[UUID, list[Act]] = {}
    for act in acts:
        about = act.deficiency
        here = home(about.rule, about.position_id, act.episode_at, episodes)
        found.setdefault(here or about.id, []).append(act)
    return found


def as_values(placed: Mapping[UUID, Iterable[Act]]) -> tuple[RulesAct, ...]:
    """The acts as the rules take them. A repair counts from when it was done, all else from when it was decided."""
    listed = [RulesAct(a.kind, subject, a.done_at or a.at, _until(a)) for subject, acts in placed.items() for a in acts]
    return tuple(sorted(listed, key=_order))


def _until(act: Act) -> datetime | None:
    return act.until if act.kind == "deferred" else None


def _order(act: RulesAct) -> tuple[Any, ...]:
    return act.at, act.kind, str(act.subject), act.until is None, act.until
