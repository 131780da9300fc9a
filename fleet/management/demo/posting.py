"""Conversion of a town visit to the form the pipeline takes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID, uuid5

from fleet.accounts.models import User
from fleet.management.town.told import Line, Told
from fleet.portfolio.models import Boiler
from fleet.visits.incoming import IncomingEntry, IncomingVisit, Person


@dataclass(frozen=True, slots=True)
class Address:
    """What the story refers to: one boiler with its positions by ref, and people by user name."""

    boiler: Boiler
    places: Mapping[str, UUID]
    people: Mapping[str, User]

    def visit(self, told: Told) -> IncomingVisit:
        """Return the visit for the pipeline. The same story gives the same ids."""
        return IncomingVisit(
            id=self.id_of(told.key),
            boiler=self.boiler.id,
            kind=told.kind,
            performed_at=told.at,
            entries=tuple(self._entry(told, line) for line in told.lines),
            people=tuple(Person(user=self.people[name].id) for name in told.people),
            state_on_arrival=told.state_on_arrival,
            left_as=told.left_as,
            leaving_checks=told.checks,
            note=told.note,
            corrects=self.id_of(told.corrects) if told.corrects else None,
            reason=told.reason,
            void=told.void,
        )

    def id_of(self, key: str) -> UUID:
        """Return a visit's id for its key."""
        return uuid5(self.boiler.id, f"town {key}")

    def _entry(self, told: Told, line: Line) -> IncomingEntry:
        return IncomingEntry(
            act=line.act,
            code=line.code,
            position=self.places[line.place] if line.place else None,
            at=told.at + timedelta(minutes=line.minute),
            outcome=line.outcome,
            reason=line.reason,
            readings=line.readings,
            kind=line.kind,
            values=line.values,
        )
