"""The values of a comparison: the lines of its report, the rows to write, and the events to log."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Model

from fleet.portfolio.models import Boiler, Building, Device, Fitting, Portfolio, Position, Setting
from fleet.records.events import ChangeEvent
from fleet.sheets import change_sentences
from fleet.sheets.register_snapshot import RegisterSnapshot

RowEffects = list[tuple[str, str]]  # (what, sentence): one row may do several things


@dataclass(frozen=True, slots=True)
class PlanLine:
    """What one row of the sheet would do; nothing where `does` is empty. `notes` say why something is left as it is."""

    row: int
    building: str
    boiler: str
    position: str
    does: RowEffects
    notes: list[str]


@dataclass(slots=True)
class ImportPlan:
    """The rows to write by model, in the order they must be written, with report lines and events.

    `touched` are the boilers whose evidence changes, `renamed` those with an edited name.
    """

    portfolio: Portfolio
    register: RegisterSnapshot
    at: datetime
    new: dict[type[Model], list[Any]] = field(default_factory=lambda: {m: [] for m in WRITE_ORDER})
    edited: dict[type[Model], dict[UUID, dict[str, object]]] = field(
        default_factory=lambda: {m: {} for m in WRITE_ORDER[:3]}
    )
    events: list[ChangeEvent] = field(default_factory=list)
    lines: list[PlanLine] = field(default_factory=list)
    added: dict[str, int] = field(default_factory=dict)
    touched: set[UUID] = field(default_factory=set)
    renamed: set[UUID] = field(default_factory=set)

    def add_event(self, kind: str, subject: UUID, boiler: UUID | None, moved: tuple[str, str], sentence: str) -> None:
        """Add an event to the change log."""
        before, after = (change_sentences.shorten_for_log(t) for t in moved)
        self.events.append(
            ChangeEvent(
                kind, subject, boiler=boiler, before=before, after=after, sentence=sentence, rule="", at=self.at
            )
        )

    def count_addition(self, what: str, boiler: UUID) -> None:
        """Count one addition to a boiler."""
        self.added[what] = self.added.get(what, 0) + 1
        self.touched.add(boiler)


WRITE_ORDER: tuple[type[Model], ...] = (Building, Boiler, Position, Device, Fitting, Setting)
