"""Storing the episodes of the rules. One whose cause was taken away is withdrawn, never deleted."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.deficiencies.life import (
    Episode,
    acts_by_episode,
    episodes_of_judgement,
    episodes_of_rows,
    find_episode,
    life_at,
)
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.portfolio.models import Boiler
from fleet.records.difference_store import as_json, store_conclusions
from fleet.records.events import ChangeEvent
from fleet.rules.values import Evidence, Judgement, deficiency_id
from fleet.rules.values import JudgedDeficiency as Deficient

RulePlace = tuple[str, UUID | None]
EPISODE_KEY = ("position_id", "rule", "episode")
KEPT_COLUMNS = (
    "id",
    "opened_at",
    "opened_by_id",
    "found_at",
    "levels",
    "sentence",
    "clears_by",
    "repaired_at",
    "closed_at",
    "closed_by_id",
)


def store_episodes(
    *, boiler: Boiler, evidence: Evidence, judgement: Judgement, at: datetime, acts: Sequence[DeficiencyAct] = ()
) -> tuple[int, list[ChangeEvent]]:
    """Make the boiler's episodes equal to those begun by `at`; return the rows written and the events.

    A row that is no longer concluded is withdrawn. Where its episode lies within another now, it is merged into that.
    """
    scope = {"boiler_id": boiler.id, "portfolio_id": boiler.portfolio_id}
    present = {_episode_key(row): row for row in Deficiency.objects.filter(**scope)}
    before = _statuses_by_id(present.values(), acts, at)
    rows = [
        row for row in _episode_rows(boiler, judgement, _fired_times(evidence, judgement)) if row["opened_at"] <= at
    ]
    concluded_keys = {tuple(row[k] for k in EPISODE_KEY) for row in rows}
    begun = [e for e in episodes_of_judgement(boiler.id, judgement) if e.opened_at <= at]
    rows += [_withdrawn_row(old, begun) for key, old in present.items() if key not in concluded_keys]
    rows_written = store_conclusions(Deficiency, scope=scope, key=EPISODE_KEY, rows=rows)
    return rows_written, list(_status_events(boiler, before, acts, at) if rows_written else ())


def _statuses_by_id(rows: Iterable[Deficiency], acts: Sequence[DeficiencyAct], at: datetime) -> dict[UUID, str]:
    listed = list(rows)
    placed = acts_by_episode(acts, episodes_of_rows(listed))
    return {row.id: life_at(row, placed.get(row.id, ()), at).status for row in listed}


def _episode_key(row: Deficiency) -> tuple[object, ...]:
    return tuple(getattr(row, k) for k in EPISODE_KEY)


def _status_events(
    boiler: Boiler, before: dict[UUID, str], acts: Sequence[DeficiencyAct], at: datetime
) -> Iterator[ChangeEvent]:
    rows = list(Deficiency.objects.filter(boiler=boiler).order_by("opened_at", "rule", "id"))
    after = _statuses_by_id(rows, acts, at)
    for row in rows:
        was, now = before.get(row.id, ""), after[row.id]
        if was != now:
            yield ChangeEvent(
                "deficiency.changed",
                row.id,
                boiler=boiler.id,
                before=was,
                after=now,
                sentence=row.sentence,
                rule=row.rule,
                at=_status_moment(row, was, now, at),
            )


def _status_moment(row: Deficiency, was: str, now: str, at: datetime) -> datetime:
    """Return when a deficiency became what it is now: by its evidence, else `at`, when late evidence told so.

    Only its first event has the time at which it was opened. One that is open again was found again, or what had put
    it right was taken back.
    """
    if now == "closed" and row.closed_at:
        return row.closed_at
    if now == "repaired" and row.repaired_at:
        return row.repaired_at
    if not was:
        return row.opened_at
    is_found_again = was == "repaired" and row.found_at is not None and row.found_at > row.opened_at
    return row.found_at if is_found_again and row.found_at else at


def _fired_times(evidence: Evidence, judgement: Judgement) -> Mapping[RulePlace, list[datetime]]:
    """Return when each rule fired at each position."""
    times = {e.id: e.at for v in evidence.visits for e in v.entries}
    times_by_place: dict[RulePlace, list[datetime]] = defaultdict(list)
    for finding in judgement.findings:
        times_by_place[finding.rule, finding.position] += [times[e] for e in finding.entries if e in times]
    return times_by_place


def _episode_rows(
    boiler: Boiler, judgement: Judgement, times: Mapping[RulePlace, list[datetime]]
) -> Iterator[dict[str, Any]]:
    for deficiency in judgement.deficiencies:
        yield {
            "id": deficiency_id(boiler.id, deficiency.position, deficiency.rule, deficiency.episode),
            "position_id": deficiency.position,
            "rule": deficiency.rule,
            "episode": deficiency.episode,
            "opened_at": deficiency.opened_at,
            "opened_by_id": deficiency.entry,
            "found_at": _last_fired(deficiency, times.get((deficiency.rule, deficiency.position), ())),
            "levels": as_json(deficiency.levels),
            "sentence": deficiency.sentence,
            "clears_by": list(deficiency.clears_by),
            "repaired_at": deficiency.repaired_at,
            "closed_at": deficiency.closed_at,
            "closed_by_id": deficiency.closed_by,
            "withdrawn": False,
            "merged_into_id": None,
        }


def _last_fired(episode: Deficient, times: Iterable[datetime]) -> datetime | None:
    """Return when the rule fired last while this episode was open; None where it rests on register data alone."""
    end = episode.closed_at
    return max((t for t in times if t >= episode.opened_at and (end is None or t < end)), default=None)


def _withdrawn_row(old: Deficiency, episodes: Iterable[Episode]) -> dict[str, object]:
    """Return the values of a withdrawn row. It keeps its columns: acts refer to it and its cause may come back."""
    into = find_episode(old.rule, old.position_id, old.opened_at, episodes)
    kept_values = {k: getattr(old, k) for k in (*EPISODE_KEY, *KEPT_COLUMNS)}
    return kept_values | {"withdrawn": True, "merged_into_id": into if into != old.id else None}
