"""Storing the episodes that the rules found; one whose cause was taken away is withdrawn, never deleted."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from fleet.deficiencies.models import Deficiency
from fleet.portfolio.conclusions import plain, store
from fleet.portfolio.models import Boiler
from fleet.portfolio.news import News
from fleet.rules.values import Judgement, deficiency_id

KEY = ("position_id", "rule", "episode")


def keep(*, boiler: Boiler, judgement: Judgement, at: datetime) -> tuple[int, list[News]]:
    """Make the boiler's episodes equal to those begun by `at`; return rows written and the news."""
    scope = {"boiler_id": boiler.id, "portfolio_id": boiler.portfolio_id}
    present = {_key(row): row for row in Deficiency.objects.filter(**scope)}
    before = {key: row.status for key, row in present.items()}
    rows = [row for row in _rows(boiler, judgement) if row["opened_at"] <= at]
    found = {tuple(row[k] for k in KEY) for row in rows}
    rows += [_withdrawn(old) for key, old in present.items() if key not in found]
    written = store(Deficiency, scope=scope, key=KEY, rows=rows)
    return written, list(_news(boiler, before) if written else ())


def _key(row: Deficiency) -> tuple[Any, ...]:
    return tuple(getattr(row, k) for k in KEY)


def _news(boiler: Boiler, before: dict[tuple[Any, ...], str]) -> Iterator[News]:
    for row in Deficiency.objects.filter(boiler=boiler).order_by("opened_at", "rule", "id"):
        was = before.get(_key(row), "")
        if was != row.status:
            yield News("deficiency.changed", row.id, boiler.id, was, row.status, row.sentence, row.rule, _moment(row))


def _moment(row: Deficiency) -> datetime:
    return row.closed_at or row.repaired_at or row.opened_at


def _rows(boiler: Boiler, judgement: Judgement) -> Iterator[dict[str, Any]]:
    for found in judgement.deficiencies:
        yield {
            "id": deficiency_id(boiler.id, found.position, found.rule, found.episode),
            "position_id": found.position,
            "rule": found.rule,
            "episode": found.episode,
            "opened_at": found.opened_at,
            "opened_by_id": found.entry,
            "levels": plain(found.levels),
            "sentence": found.sentence,
            "clears_by": list(found.clears_by),
            "repaired_at": found.repaired_at,
            "closed_at": found.closed_at,
            "closed_by_id": found.closed_by,
            "withdrawn": False,
        }


def _withdrawn(old: Deficiency) -> dict[str, Any]:
    """Acts hang on the row, so it stays; nothing of it counts."""
    kept = (
        "id",
        "opened_at",
        "opened_by_id",
        "levels",
        "sentence",
        "clears_by",
        "repaired_at",
        "closed_at",
        "closed_by_id",
    )
    return {k: getattr(old, k) for k in (*KEY, *kept)} | {"withdrawn": True}
