"""Storing conclusions in place: stored rows are made equal to what was concluded; only the difference is written."""

from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Model

RowValues = Mapping[str, object]


def store_conclusions(model: type[Model], *, scope: RowValues, key: tuple[str, ...], rows: Iterable[RowValues]) -> int:
    """Make the rows of `model` within `scope` equal to `rows`, matched by `key`; return how many were written.

    A column that a row does not give keeps its stored value. One query where nothing differs, at most three more where
    something does. A changed row of a model with `version` gets the next version, so that decisions on the old one are
    refused as stale.
    """
    wanted_rows = {tuple(row[k] for k in key): row for row in rows}
    present = _StoredRows(model, scope, key, sorted({column for row in wanted_rows.values() for column in row}))
    manager, rows_written = model._default_manager, len(wanted_rows.keys() ^ present.rows.keys())
    if gone_keys := [row[0] for k, row in present.rows.items() if k not in wanted_rows]:
        manager.filter(pk__in=gone_keys).delete()
    if different := [
        k for k, row in present.rows.items() if k in wanted_rows and present.is_different(row, wanted_rows[k])
    ]:
        manager.bulk_update([present.changed_row(k, wanted_rows[k]) for k in different], present.changed_columns())
    if new := [model(**scope, **row) for k, row in wanted_rows.items() if k not in present.rows]:
        manager.bulk_create(new)
    return rows_written + len(different)


class _StoredRows:
    """The stored rows, as tuples of the primary key, the wanted columns and the version where there is one.

    A judgement compares hundreds of rows and changes a few: only those become model objects.
    """

    def __init__(self, model: type[Model], scope: RowValues, key: tuple[str, ...], columns: list[str]) -> None:
        self.model, self.key = model, key
        self.columns = columns or list(key)
        self.version = ["version"] if any(f.attname == "version" for f in model._meta.concrete_fields) else []
        places = [self.columns.index(k) + 1 for k in key]
        stored = model._default_manager.filter(**scope).values_list("pk", *self.columns, *self.version)
        self.rows = {tuple(row[n] for n in places): row for row in stored}

    def is_different(self, row: tuple[object, ...], wanted: RowValues) -> bool:
        """Whether a stored row differs from the wanted values."""
        return any(value != wanted.get(name, value) for name, value in zip(self.columns, row[1:], strict=False))

    def changed_row(self, key: tuple[object, ...], wanted: RowValues) -> Model:
        """Return the stored row with the wanted values, as a model object at its next version."""
        row = self.rows[key]
        values = {**dict(zip(self.columns, row[1:], strict=False)), **wanted, "pk": row[0]}
        if self.version:
            values["version"] = row[-1] + 1
        return self.model(**values)

    def changed_columns(self) -> list[str]:
        """Return the columns that an update writes."""
        return [c for c in self.columns if c not in (*self.key, "id")] + self.version


def as_json(value: Any) -> Any:
    """Return a value of the rules as JSON values: datetimes as UTC text, days and ids as text, dataclasses as dicts."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if hasattr(value, "__dataclass_fields__"):
        return {f.name: as_json(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, (tuple, list, frozenset, set)):
        return [as_json(v) for v in value]
    return str(value) if isinstance(value, str) else value
