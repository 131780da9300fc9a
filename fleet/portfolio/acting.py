"""An act about something that has a version: added once it has been checked, and the thing's next version with it."""

from typing import Any, Protocol, TypeVar

from django.db import models


class Versioned(Protocol):
    """A row that people act on: of a portfolio, at a version."""

    portfolio_id: Any
    version: int

    def save(self, *, update_fields: list[str]) -> None:
        """Write it."""


A = TypeVar("A", bound=models.Model)


def add(act: A, row: Versioned) -> A:
    """Write `act` as about this version of `row`, in its portfolio, and give the row its next version."""
    act.portfolio_id, act.acted_on = row.portfolio_id, row.version  # type: ignore[attr-defined]
    act.save(force_insert=True)
    row.version += 1
    row.save(update_fields=["version"])
    return act
