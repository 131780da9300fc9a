"""Who hears of something: people by role or name, stand-ins for those who are away, and whether they can be reached."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts.absences import absences_at, people_in_place_of
from fleet.accounts.models import Absence, Grant, User
from fleet.notices.call_list.lines import DEFAULT_LINES, CallLine, CallStep, lines_from_json
from fleet.notices.models import CallList, Destination
from fleet.records.row_spans import not_ended


@dataclass(frozen=True, slots=True)
class CalledPerson:
    """A person whom a step reaches, and whom that person stands in for."""

    user: User
    channel: str = ""
    stands_in_for: str = ""


StepTime = tuple[datetime, Sequence[CalledPerson]]


def times_of_steps(steps: Sequence[StepTime]) -> list[StepTime]:
    """Return when each step of a call comes, and whom it reaches who was not reached before.

    A step that reaches nobody new is left out, and the next one takes its time.
    """
    times: list[StepTime] = []
    reached_ids: set[UUID] = set()
    free: datetime | None = None
    for begins, people in steps:
        begins = free if free is not None else begins
        new_people = [person for person in people if person.user.id not in reached_ids]
        reached_ids |= {person.user.id for person in new_people}
        free = None if new_people else begins
        if new_people:
            times.append((begins, new_people))
    return times


@dataclass(frozen=True, slots=True)
class Reachable:
    """Everything needed to name the people of a step in one portfolio at one instant: four queries, however many."""

    grants: Sequence[Grant]
    users: Mapping[UUID, User]
    absences: Mapping[UUID, Absence]
    with_address: frozenset[UUID]
    lists: Mapping[UUID | None, tuple[CallLine, ...]]

    def lines_of(self, building: UUID | None) -> tuple[CallLine, ...]:
        """Return the call list in force in a building (None: for the portfolio as a whole)."""
        return self.lists.get(building) or self.lists.get(None) or DEFAULT_LINES

    def people_of_step(self, step: CallStep, building: UUID | None) -> list[CalledPerson]:
        """Return whom a step reaches: each once, only those who gave an address. Empty where it reaches nobody."""
        called_by_id: dict[UUID, CalledPerson] = {}
        for line in step.lines:
            for person in self._people_of_line(line, building):
                for actual in people_in_place_of(person, self.absences):
                    if actual in self.with_address and actual in self.users:
                        name = "" if actual == person else self.users[person].display_name
                        called_by_id.setdefault(actual, CalledPerson(self.users[actual], line.channel, name))
        return list(called_by_id.values())

    def people_by_time(self, steps: Sequence[CallStep], building: UUID | None, began: datetime) -> list[StepTime]:
        """Return the steps of a call that began then, each with its instant by the list and whom it reaches."""
        return [(began + timedelta(minutes=step.after_minutes), self.people_of_step(step, building)) for step in steps]

    def _people_of_line(self, line: CallLine, building: UUID | None) -> Iterable[UUID]:
        """Return by role who works in this building, or in all of the portfolio; by name whoever has a role here."""
        for grant in self.grants:
            is_here = grant.building_id is None or grant.building_id == building
            is_meant = (
                self.users[grant.user_id].get_username() == line.hears[1:]
                if line.hears.startswith("@")
                else grant.role == line.hears and is_here and not grant.is_from_job
            )
            if is_meant:
                yield grant.user_id


def read_reachable(portfolio: UUID, at: datetime) -> Reachable:
    """Read who can be told in a portfolio at an instant."""
    grants = list(
        Grant.objects.filter(not_ended(at), portfolio=portfolio, user__is_active=True)
        .select_related("user")
        .order_by("user__username", "role", "id")
    )
    absences = absences_at(portfolio, at)
    users = {grant.user_id: grant.user for grant in grants}
    return Reachable(
        grants=grants,
        users=users,
        absences=absences,
        with_address=people_with_address(users, at),
        lists=adopted_lists(portfolio),
    )


def people_with_address(people: Iterable[UUID], at: datetime) -> frozenset[UUID]:
    """Return those of these people who have an address in use, confirmed by `at`."""
    rows = Destination.objects.filter(user__in=list(people), ended_at=None, confirmed_at__lte=at)
    return frozenset(rows.values_list("user", flat=True))


def adopted_lists(portfolio: UUID) -> dict[UUID | None, tuple[CallLine, ...]]:
    """Return the lists adopted in a portfolio, by building (None: its own); those set back to the wider one are out."""
    newest = CallList.objects.filter(portfolio=portfolio).order_by("number")
    lists = {row.building_id: row.lines for row in newest}
    return {building: lines_from_json(lines) for building, lines in lists.items() if lines is not None}


def is_anybody_told(portfolio: UUID, at: datetime) -> bool:
    """Whether anybody with a role in this portfolio gave an address. Where nobody did, nobody is told of anything."""
    people = Grant.objects.filter(not_ended(at), portfolio=portfolio, user__is_active=True).values("user")
    return Destination.objects.filter(user__in=people, ended_at=None, confirmed_at__lte=at).exists()


def is_set_up_to_tell(portfolio: UUID, at: datetime) -> bool:
    """Whether anybody with a role here gave an address that is in use, or that its receiver refused for good.

    Where the last address was refused nobody is told any more, and that itself is to be said.
    """
    people = Grant.objects.filter(not_ended(at), portfolio=portfolio, user__is_active=True).values("user")
    counted = Q(ended_at=None) | Q(end_reason="refused")
    return Destination.objects.filter(counted, user__in=people, confirmed_at__lte=at).exists()
