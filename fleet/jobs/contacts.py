"""People to contact about one building: who manages or owns it, and who works at its boilers."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts.models import Grant, User
from fleet.accounts.telephone import digits_to_dial
from fleet.jobs import states
from fleet.jobs.consent import has_agreed
from fleet.jobs.queries import JobDetail
from fleet.portfolio.models import Boiler, Building
from fleet.records.row_spans import not_ended
from fleet.visits import queries as visits

RECENT_PERIOD = timedelta(days=90)  # our choice: a quarter of a year
MAX_RECENT_PEOPLE = (
    6  # people who only were there recently; holders of a job or of a role in the building are always named
)
DECIDING_ROLES = ("owner", "manager")
DESK_ROLES = (*DECIDING_ROLES, "dispatcher", "office")


@dataclass(slots=True)
class Contact:
    """A person with their roles, their last visit to the boilers, and the start of their next job."""

    user: User
    roles: list[Grant] = field(default_factory=list)
    was: datetime | None = None
    comes: datetime | None = None

    @property
    def name(self) -> str:
        """The full name, else the user name."""
        return self.user.display_name

    @property
    def dial(self) -> str:
        """The telephone number as a telephone dials it."""
        return digits_to_dial(self.user.telephone)

    @property
    def desk(self) -> bool:
        """Whether the person has a role at the desk rather than at the boilers."""
        return any(grant.role in DESK_ROLES for grant in self.roles)


def building_contacts(
    building: Building, boilers: Iterable[Boiler], jobs: Iterable[JobDetail], at: datetime
) -> list[Contact]:
    """Return the people to contact, the desk first, then the field.

    They hold one of these jobs, have a role in the building, decide for the portfolio, or visited recently. `boilers`
    are those whose visits may be read. All accounts are active. Ended roles are included with their end.
    """
    contacts = {
        p.id: Contact(p, was=day)
        for p, day in visits.people_of([b.id for b in boilers], at - RECENT_PERIOD, at)[:MAX_RECENT_PEOPLE]
    }
    for entry in jobs:
        if entry.status in states.HELD_STATUSES:
            people = filter(None, (entry.job.technician, entry.job.second))
            for person in (p for p in people if has_agreed(entry.job, p.id, entry.acts)):
                contact = contacts.setdefault(person.id, Contact(person))
                contact.comes = min(filter(None, (contact.comes, entry.job.planned_since)), default=None)
    for grant in _relevant_grants(building, list(contacts), at):
        contacts.setdefault(grant.user_id, Contact(grant.user)).roles.append(grant)
    active = [entry for entry in contacts.values() if entry.user.is_active]
    return sorted(active, key=_contact_rank)


def _relevant_grants(building: Building, people: list[UUID], at: datetime) -> Iterable[Grant]:
    """Read the grants in force in this building and of deciding roles; of `people` the ended ones as well."""
    now = not_ended(at)
    relevant_grants = Q(user__in=people) | now & (Q(building=building) | Q(role__in=DECIDING_ROLES))
    at_building = Q(building=building) | Q(building=None)
    rows = Grant.objects.filter(relevant_grants, at_building, portfolio=building.portfolio_id, user__is_active=True)
    return rows.select_related("user").order_by("building", "role", "id")


def _contact_rank(contact: Contact) -> tuple[bool, int, float, str]:
    """Return the sort key: owner, manager, rest of the desk; in the field who comes next, then who was there last."""
    ranks = [DESK_ROLES.index(grant.role) for grant in contact.roles if grant.role in DESK_ROLES]
    newest = contact.comes.timestamp() - 1e12 if contact.comes else -contact.was.timestamp() if contact.was else 0.0
    return not contact.desk, min(ranks, default=len(DESK_ROLES)), newest, contact.name
