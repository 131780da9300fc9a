"""Reading proof glasses: until when the full proofs of boilers hold, by the present rules."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.portfolio.models import Boiler
from fleet.rules import BUILD

GLASS_COLUMNS = (
    "hazard",
    "position__name",
    "proved_at",
    "due_at",
    "exposed_at",
    "tick_proved_at",
    "tick_due_at",
)


@dataclass(frozen=True, slots=True)
class GlassReading:
    """What one glass shows, from its `ProofGlass` row, with the name of the position that decides it."""

    hazard: str
    place: str
    proved_at: datetime | None
    due_at: datetime | None
    exposed_at: datetime
    tick_proved_at: datetime | None
    tick_due_at: datetime | None


class PendingGlass:
    """The glass of a boiler judged by an older build: what is stored may no longer hold, so it is not shown."""


PENDING = PendingGlass()
ShownGlass = GlassReading | PendingGlass | None


def glasses_of(boilers: Iterable[UUID]) -> dict[UUID, ShownGlass]:
    """Return the glass of each of these boilers: one query."""
    columns = ("judged__build", *(f"glass__{column}" for column in ("id", *GLASS_COLUMNS)))
    rows = Boiler.objects.filter(id__in=list(boilers)).values_list("id", *columns)
    return {row[0]: read_glass(row[1], row[2:]) for row in rows}


def read_glass(build: str | None, row: Sequence[Any]) -> ShownGlass:
    """Return the glass of a row (its id, then GLASS_COLUMNS); None where no proof ends by time alone."""
    if build is None or not build.startswith(BUILD):
        return PENDING
    return GlassReading(*row[1:]) if row[0] else None
