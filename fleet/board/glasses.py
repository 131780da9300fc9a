"""Reading proof glasses: until when the full proofs of boilers carry."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.board.models import ProofGlass

COLUMNS = (
    "hazard",
    "position__name",
    "proved_at",
    "due_at",
    "exposed_at",
    "tick_proved_at",
    "tick_due_at",
)


@dataclass(frozen=True, slots=True)
class Reading:
    """What one glass shows, as `ProofGlass` has it, with the name of the position that decides it."""

    hazard: str
    place: str
    proved_at: datetime | None
    due_at: datetime | None
    exposed_at: datetime
    tick_proved_at: datetime | None
    tick_due_at: datetime | None


def of(boilers: Iterable[UUID]) -> dict[UUID, Reading]:
    """The glass of each of these boilers that has one: one query."""
    found = ProofGlass.objects.filter(boiler__in=list(boilers)).values_list("boiler", *COLUMNS)
    return {row[0]: Reading(*row[1:]) for row in found}
