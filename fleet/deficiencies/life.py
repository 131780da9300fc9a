"""The status of a deficiency by evidence and by people's acts, derived in this one module."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.rules.values import ActFact as RulesAct
from fleet.rules.values import Judgement, Level, LevelSegment, deficiency_id

_RANK = {level.value: rank for rank, level in enumerate(Level)}  # 0 the worst


@dataclass(frozen=True, slots=True)
class DeficiencyLife:
    """The status of one deficiency at an instant. Deferring only silences reminders."""

    status: str  # open → assigned → repaired → closed; or withdrawn, merged
    level: str
    assigned: DeficiencyAct | None
    reported: DeficiencyAct | None
    deferred: DeficiencyAct | None
    deferred_until: datetime | None
    explained: DeficiencyAct | None


@dataclass(frozen=True, slots=True)
class Episode:
    """The fields of a deficiency by which acts are matched with it."""

    id: UUID
    position: UUID | None
    rule: str
    opened_at: datetime
    closed_at: datetime | None

    def is_open_at(self, at: datetime) -> bool:
        """Whether it was open at `at`."""
        return self.opened_at <= at and (self.closed_at is None or at < self.closed_at)


def life_at(row: Deficiency, acts: Iterable[DeficiencyAct], at: datetime) -> DeficiencyLife:
    """Return the status of a deficiency at `at`, by its row and the acts that are about it."""
    newest = {act.kind: act for act in sorted(acts, key=lambda a: (a.at, a.acted_on)) if act.at <= at}
    reported = newest.get("repair_reported")
    if reported and reported.done_at and reported.done_at < (row.found_at or row.opened_at):
        reported = None  # a repair from before it was found (again) did not help
    deferred = newest.get("deferred")
    until = deferral_end(deferred, row) if deferred else None
    running = until is not None and at < until
    return DeficiencyLife(
        status=_status_of(row, newest.get("assigned"), reported),
        level=level_at(row, at),
        assigned=newest.get("assigned"),
        reported=reported,
        deferred=deferred if running else None,
        deferred_until=until if running else None,
        explained=newest.get("explained"),
    )


def _status_of(row: Deficiency, assigned: DeficiencyAct | None, reported: DeficiencyAct | None) -> str:
    if row.status != "open":
        return row.status
    if reported:
        return "repaired"
    return "assigned" if assigned else "open"


def level_at(row: Deficiency, at: datetime) -> str:
    """Return its class at `at`: that of the last segment that has begun.

    A deficiency found and closed at the same instant never had a class: "".
    """
    begun = [s["level"] for s in row.levels if datetime.fromisoformat(s["since"]) <= at]
    first = [s["level"] for s in row.levels[:1]]
    return str((begun or first or [""])[-1])


def deferral_end(act: DeficiencyAct, row: Deficiency) -> datetime | None:
    """Return when a deferral ends: at its end, when the class rises above the deferral's, or when it is closed."""
    rises = [max(s.since, act.at) for s in levels_after(row, act.at) if _RANK[s.level.value] < _RANK[act.level]]
    return min((end for end in (act.until, row.closed_at, *rises) if end), default=None)


def levels_after(row: Deficiency, at: datetime) -> Iterable[LevelSegment]:
    """Yield the class segments that reach past `at`."""
    for segment in row.levels:
        until = datetime.fromisoformat(segment["until"]) if segment["until"] else None
        if until is None or until > at:
            yield LevelSegment(datetime.fromisoformat(segment["since"]), until, Level(segment["level"]))


def episodes_of_rows(rows: Iterable[Deficiency]) -> list[Episode]:
    """Return the stored episodes that are not withdrawn."""
    return [
        Episode(r.id, r.position_id, rule=r.rule, opened_at=r.opened_at, closed_at=r.closed_at)
        for r in rows
        if not r.withdrawn
    ]


def episodes_of_judgement(boiler: UUID, judgement: Judgement) -> list[Episode]:
    """Return the episodes of a judgement."""
    return [
        Episode(
            deficiency_id(boiler, d.position, d.rule, d.episode),
            d.position,
            rule=d.rule,
            opened_at=d.opened_at,
            closed_at=d.closed_at,
        )
        for d in judgement.deficiencies
    ]


def find_episode(rule: str, position: UUID | None, at: datetime, episodes: Iterable[Episode]) -> UUID | None:
    """Return the id of the episode of this rule and position that was open at `at`, None if none was."""
    same = (e for e in episodes if (e.rule, e.position) == (rule, position))
    return next((e.id for e in same if e.is_open_at(at)), None)


def acts_by_episode(acts: Iterable[DeficiencyAct], episodes: Sequence[Episode]) -> Mapping[UUID, list[DeficiencyAct]]:
    """Return the acts by the deficiency each is about now: late evidence joins, splits and renumbers episodes.

    An act whose episode no longer exists stays with the deficiency on which it was recorded.
    """
    grouped: dict[UUID, list[DeficiencyAct]] = {}
    for act in acts:
        about = act.deficiency
        episode_id = find_episode(about.rule, about.position_id, act.episode_at, episodes)
        grouped.setdefault(episode_id or about.id, []).append(act)
    return grouped


def acts_as_values(placed: Mapping[UUID, Iterable[DeficiencyAct]]) -> tuple[RulesAct, ...]:
    """Return the acts as values of the rules. A repair counts from when it was done, others from the decision."""
    listed = [
        RulesAct(a.kind, subject, a.done_at or a.at, _silent_until(a)) for subject, acts in placed.items() for a in acts
    ]
    return tuple(sorted(listed, key=_act_order))


def _silent_until(act: DeficiencyAct) -> datetime | None:
    return act.until if act.kind == "deferred" else None


def _act_order(act: RulesAct) -> tuple[object, ...]:
    return act.at, act.kind, str(act.subject), act.until is None, act.until
