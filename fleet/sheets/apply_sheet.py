"""Changing the register: names are edited; everything that is evidence is only added."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from uuid import UUID

from django.db.models import Model

from fleet.sheets.import_plan import WRITE_ORDER, ImportPlan

ROWS_PER_BATCH = 2000


@dataclass(slots=True)
class ImportSummary:
    """What an import did: counts of additions, and the boilers whose evidence changed."""

    added: dict[str, int] = field(default_factory=dict)
    touched: set[UUID] = field(default_factory=set)


def apply_plan(plan: ImportPlan, *, step: Callable[[int], None] = lambda rows_done: None) -> ImportSummary:
    """Write a plan, one statement for every ROWS_PER_BATCH rows of a table.

    `step` is called with the number of rows written so far.
    """
    rows_done = 0
    for model in WRITE_ORDER:
        for batch in _split_batches(plan.new[model]):
            model._default_manager.bulk_create(batch)
            rows_done += len(batch)
            step(rows_done)
    for model, subjects in plan.edited.items():
        _write_edits(model, subjects)
    return ImportSummary(dict(plan.added), set(plan.touched))


def count_new_rows(plan: ImportPlan) -> int:
    """Return how many rows a plan adds."""
    return sum(len(rows) for rows in plan.new.values())


def _write_edits(model: type[Model], subjects: dict[UUID, dict[str, object]]) -> None:
    """Write edited names, one statement per field and batch."""
    for name in sorted({field_ for values in subjects.values() for field_ in values}):
        changed = [model(id=id_, **{name: values[name]}) for id_, values in subjects.items() if name in values]
        model._default_manager.bulk_update(changed, [name], batch_size=ROWS_PER_BATCH)


def _split_batches(rows: list[Model]) -> Iterator[list[Model]]:
    listed = iter(rows)
    while batch := list(islice(listed, ROWS_PER_BATCH)):
        yield batch
