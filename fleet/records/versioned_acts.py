"""Acts about rows that have a version: adding an act gives the row its next version."""

from typing import Protocol, TypeVar
from uuid import UUID

from django.db import models


class Versioned(Protocol):
    """A row that people act on; it belongs to a portfolio and has a version."""

    portfolio_id: UUID
    version: int

    def save(self, *, update_fields: list[str]) -> None:
        """Write the row."""


A = TypeVar("A", bound=models.Model)


def add_act(act: A, row: Versioned) -> A:
    """Write a checked `act` as being about the present version of `row`, and give the row its next version."""
    act.portfolio_id, act.acted_on = row.portfolio_id, row.version  # type: ignore[attr-defined]
    act.save(force_insert=True)
    row.version += 1
    row.save(update_fields=["version"])
    return act
