"""Conversion of a town visit to the form the pipeline takes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID, uuid5

from fleet.accounts.models import User
from fleet.management.town.story_values import TownLine, TownVisit
from fleet.portfolio.models import Boiler
from fleet.visits.incoming import IncomingEntry, IncomingVisit, Person


@dataclass(frozen=True, slots=True)
class StoryAddress:
    """What the story refers to: one boiler with its positions by ref, and people by user name."""

    boiler: Boiler
    places: Mapping[str, UUID]
    people: Mapping[str, User]

    def incoming_visit(self, visit: TownVisit) -> IncomingVisit:
        """Return the visit for the pipeline. The same story gives the same ids."""
        return IncomingVisit(
            id=self.visit_id_of(visit.key),
            boiler=self.boiler.id,
            kind=visit.kind,
            performed_at=visit.at,
            entries=tuple(self._incoming_entry(visit, line) for line in visit.lines),
            people=tuple(Person(user=self.people[name].id) for name in visit.people),
            state_on_arrival=visit.state_on_arrival,
            left_as=visit.left_as,
            leaving_checks=visit.checks,
            note=visit.note,
            corrects=self.visit_id_of(visit.corrects) if visit.corrects else None,
            reason=visit.reason,
            void=visit.void,
        )

    def visit_id_of(self, key: str) -> UUID:
        """Return a visit's id for its key."""
        return uuid5(self.boiler.id, f"town {key}")

    def _incoming_entry(self, visit: TownVisit, line: TownLine) -> IncomingEntry:
        return IncomingEntry(
            act=line.act,
            code=line.code,
            position=self.places[line.place] if line.place else None,
            at=visit.at + timedelta(minutes=line.minute),
            outcome=line.outcome,
            reason=line.reason,
            readings=line.readings,
            kind=line.kind,
            values=line.values,
        )
