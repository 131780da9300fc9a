"""Conclusions are recomputed in place: what is stored becomes what was concluded; only the difference is written."""

from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db.models import Model

Values = Mapping[str, Any]


def store(model: type[Model], *, scope: Values, key: tuple[str, ...], rows: Iterable[Values]) -> int:
    """Make the rows of `model` within `scope` equal to `rows`, matched by `key`; return how many were written.

    Each of `rows` gives every derived column. One query where nothing differs; at most three more where something does.
    Where rows have a `version`, a row that changes gets its next: what was decided on the old one is stale.
    """
    wanted = {tuple(row[k] for k in key): row for row in rows}
    manager = model._default_manager
    present = {tuple(getattr(row, k) for k in key): row for row in manager.filter(**scope)}
    gone = [row.pk for k, row in present.items() if k not in wanted]
    different = [row for k, row in present.items() if k in wanted and _take(row, wanted[k])]
    new = [model(**scope, **row) for k, row in wanted.items() if k not in present]
    if gone:
        manager.filter(pk__in=gone).delete()
    if different:
        columns = sorted({c for row in wanted.values() for c in row} - set(key) - {"id"}) + _next_version(different)
        manager.bulk_update(different, columns)
    if new:
        manager.bulk_create(new)
    return len(gone) + len(different) + len(new)


def _next_version(rows: list[Model]) -> list[str]:
    versioned = [row for row in rows if hasattr(row, "version")]
    for row in versioned:
        row.version += 1
    return ["version"] if versioned else []


def _take(row: Model, values: Values) -> bool:
    different = {name: value for name, value in values.items() if getattr(row, name) != value}
    for name, value in different.items():
        setattr(row, name, value)
    return bool(different)


def plain(value: Any) -> Any:
    """Return a rules value as JSON holds it, so that what is read back equals what was written."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, UUID):
        return str(value)
    if hasattr(value, "__dataclass_fields__"):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, (tuple, list, frozenset, set)):
        return [plain(v) for v in value]
    return str(value) if isinstance(value, str) else value
