"""People to contact about one building: who manages or owns it, and who works at its boilers."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts.models import Grant, User
from fleet.accounts.telephone import dialled
from fleet.jobs import states
from fleet.jobs.queries import Shown
from fleet.portfolio.models import Boiler, Building
from fleet.visits import queries as visits

LATELY = timedelta(days=90)  # our choice: a quarter of a year
MOST = 6  # people who only were there recently; holders of a job or of a role in the building are always named
DECIDES = ("owner", "manager")
DESK = (*DECIDES, "dispatcher", "office")


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
        return self.user.get_full_name() or self.user.get_username()

    @property
    def dial(self) -> str:
        """The telephone number as a telephone dials it."""
        return dialled(self.user.telephone)

    @property
    def desk(self) -> bool:
        """Whether the person has a role at the desk rather than at the boilers."""
        return any(grant.role in DESK for grant in self.roles)


def of_building(building: Building, boilers: Iterable[Boiler], jobs: Iterable[Shown], at: datetime) -> list[Contact]:
    """Return the people to contact, the desk first, then the field.

    They hold one of these jobs, have a role in the building, decide for the portfolio, or visited recently. `boilers`
    are those whose visits may be read. All accounts are active. Ended roles are included with their end.
    """
    found = {p.id: Contact(p, was=day) for p, day in visits.people_of([b.id for b in boilers], at - LATELY, at)[:MOST]}
    for one in jobs:
        if one.status in states.HELD:
            for who in filter(None, (one.job.technician, one.job.second)):
                contact = found.setdefault(who.id, Contact(who))
                contact.comes = min(filter(None, (contact.comes, one.job.planned_since)), default=None)
    for grant in _grants(building, list(found), at):
        found.setdefault(grant.user_id, Contact(grant.user)).roles.append(grant)
    active = [one for one in found.values() if one.user.is_active]
    return sorted(active, key=_order)


def _grants(building: Building, people: list[UUID], at: datetime) -> Iterable[Grant]:
    """Read the grants in force in this building and of deciding roles; of `people` the ended ones as well."""
    now = Q(until=None) | Q(until__gt=at)
    named = Q(user__in=people) | now & (Q(building=building) | Q(role__in=DECIDES))
    here = Q(building=building) | Q(building=None)
    rows = Grant.objects.filter(named, here, portfolio=building.portfolio_id, user__is_active=True)
    return rows.select_related("user").order_by("building", "role", "id")


def _order(one: Contact) -> tuple[bool, int, float, str]:
    """Return the sort key: owner, manager, rest of the desk; in the field who comes next, then who was there last."""
    ranks = [DESK.index(grant.role) for grant in one.roles if grant.role in DESK]
    newest = one.comes.timestamp() - 1e12 if one.comes else -one.was.timestamp() if one.was else 0.0
    return not one.desk, min(ranks, default=len(DESK)), newest, one.name
