"""Changing the register: names are edited; everything that is evidence is only added."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from typing import Any
from uuid import UUID

from django.db.models import Model

from fleet.portfolio.known import Known
from fleet.portfolio.models import Portfolio
from fleet.portfolio.plan import ORDER, Plan, plan
from fleet.portfolio.sheet import SheetRow

BATCH = 2000


@dataclass(slots=True)
class Report:
    """What an import did: counts of additions, and the boilers whose evidence changed."""

    added: dict[str, int] = field(default_factory=dict)
    touched: set[UUID] = field(default_factory=set)


def apply_sheet(*, portfolio: Portfolio, rows: Sequence[SheetRow], at: datetime) -> Report:
    """Add what the rows say and the register lacks."""
    made = plan(portfolio=portfolio, known=Known.of(portfolio, rows, at), rows=rows, at=at)
    return apply(made)


def apply(made: Plan, *, step: Callable[[int], None] = lambda done: None) -> Report:
    """Write a plan, one statement for every ROWS_PER_BATCH rows of a table.

    `step` is called with the number of rows written so far.
    """
    done = 0
    for model in ORDER:
        for some in _batches(made.new[model]):
            model._default_manager.bulk_create(some)
            done += len(some)
            step(done)
    for model, subjects in made.edited.items():
        _edit(model, subjects)
    return Report(dict(made.added), set(made.touched))


def to_write(made: Plan) -> int:
    """Return how many rows a plan adds."""
    return sum(len(rows) for rows in made.new.values())


def _edit(model: type[Model], subjects: dict[UUID, dict[str, Any]]) -> None:
    """Write edited names, one statement per field and batch."""
    for name in sorted({field_ for values in subjects.values() for field_ in values}):
        changed = [model(id=id_, **{name: values[name]}) for id_, values in subjects.items() if name in values]
        model._default_manager.bulk_update(changed, [name], batch_size=BATCH)


def _batches(rows: list[Any]) -> Any:
    listed = iter(rows)
    while some := list(islice(listed, BATCH)):
        yield some
