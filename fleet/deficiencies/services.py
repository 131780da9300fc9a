"""Storing the episodes of the rules. One whose cause was taken away is withdrawn, never deleted."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.deficiencies.life import Episode, by_episode, home, life, of_judgement, of_rows
from fleet.deficiencies.models import Act, Deficiency
from fleet.portfolio.conclusions import plain, store
from fleet.portfolio.models import Boiler
from fleet.portfolio.news import News
from fleet.rules.values import Deficiency as Deficient
from fleet.rules.values import Evidence, Judgement, deficiency_id

Place = tuple[str, UUID | None]
KEY = ("position_id", "rule", "episode")
KEPT = (
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


def keep(
    *, boiler: Boiler, evidence: Evidence, judgement: Judgement, at: datetime, acts: Sequence[Act] = ()
) -> tuple[int, list[News]]:
    """Make the boiler's episodes equal to those begun by `at`; return the rows written and the events.

    A row that is no longer concluded is withdrawn. Where its episode lies within another now, it is merged into that.
    """
    scope = {"boiler_id": boiler.id, "portfolio_id": boiler.portfolio_id}
    present = {_key(row): row for row in Deficiency.objects.filter(**scope)}
    before = _statuses(present.values(), acts, at)
    rows = [row for row in _rows(boiler, judgement, _found(evidence, judgement)) if row["opened_at"] <= at]
    found = {tuple(row[k] for k in KEY) for row in rows}
    begun = [e for e in of_judgement(boiler.id, judgement) if e.opened_at <= at]
    rows += [_gone(old, begun) for key, old in present.items() if key not in found]
    written = store(Deficiency, scope=scope, key=KEY, rows=rows)
    return written, list(_news(boiler, before, acts, at) if written else ())


def _statuses(rows: Iterable[Deficiency], acts: Sequence[Act], at: datetime) -> dict[UUID, str]:
    listed = list(rows)
    placed = by_episode(acts, of_rows(listed))
    return {row.id: life(row, placed.get(row.id, ()), at).status for row in listed}


def _key(row: Deficiency) -> tuple[Any, ...]:
    return tuple(getattr(row, k) for k in KEY)


def _news(boiler: Boiler, before: dict[UUID, str], acts: Sequence[Act], at: datetime) -> Iterator[News]:
    rows = list(Deficiency.objects.filter(boiler=boiler).order_by("opened_at", "rule", "id"))
    after = _statuses(rows, acts, at)
    for row in rows:
        was, now = before.get(row.id, ""), after[row.id]
        if was != now:
            yield News("deficiency.changed", row.id, boiler.id, was, now, row.sentence, row.rule, _moment(row))


def _moment(row: Deficiency) -> datetime:
    return row.closed_at or row.repaired_at or row.opened_at


def _found(evidence: Evidence, judgement: Judgement) -> Mapping[Place, list[datetime]]:
    """Return when each rule fired at each position."""
    times = {e.id: e.at for v in evidence.visits for e in v.entries}
    found: dict[Place, list[datetime]] = defaultdict(list)
    for finding in judgement.findings:
        found[finding.rule, finding.position] += [times[e] for e in finding.entries if e in times]
    return found


def _rows(boiler: Boiler, judgement: Judgement, times: Mapping[Place, list[datetime]]) -> Iterator[dict[str, Any]]:
    for found in judgement.deficiencies:
        yield {
            "id": deficiency_id(boiler.id, found.position, found.rule, found.episode),
            "position_id": found.position,
            "rule": found.rule,
            "episode": found.episode,
            "opened_at": found.opened_at,
            "opened_by_id": found.entry,
            "found_at": _newest(found, times.get((found.rule, found.position), ())),
            "levels": plain(found.levels),
            "sentence": found.sentence,
            "clears_by": list(found.clears_by),
            "repaired_at": found.repaired_at,
            "closed_at": found.closed_at,
            "closed_by_id": found.closed_by,
            "withdrawn": False,
            "merged_into_id": None,
        }


def _newest(episode: Deficient, times: Iterable[datetime]) -> datetime | None:
    """Return when the rule fired last while this episode was open; None where it rests on register data alone."""
    end = episode.closed_at
    return max((t for t in times if t >= episode.opened_at and (end is None or t < end)), default=None)


def _gone(old: Deficiency, episodes: Iterable[Episode]) -> dict[str, Any]:
    """Return the values of a withdrawn row. It keeps its columns: acts refer to it and its cause may come back."""
    into = home(old.rule, old.position_id, old.opened_at, episodes)
    kept = {k: getattr(old, k) for k in (*KEY, *KEPT)}
    return kept | {"withdrawn": True, "merged_into_id": into if into != old.id else None}
