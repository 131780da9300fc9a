"""Who may do what: one table, closed by default. Every question is about one portfolio, perhaps one building of it."""

from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts.models import Grant, User
from fleet.portfolio.models import Boiler

ACTIONS: dict[str, frozenset[str]] = {
    "board.see": frozenset({"technician", "dispatcher", "manager", "owner", "caretaker", "inspector", "office"}),
    "visit.see": frozenset({"technician", "dispatcher", "manager", "owner", "caretaker", "inspector"}),
    "visit.post": frozenset({"technician", "caretaker", "manager", "owner"}),
    "register.change": frozenset({"manager", "owner", "office"}),
}


def grants(user: User, action: str, at: datetime) -> QuerySet[Grant]:
    """The grants in force at `at` that allow `action`."""
    roles = ACTIONS[action]
    return Grant.objects.filter(Q(until__isnull=True) | Q(until__gt=at), user=user, role__in=roles)


def may(user: User, action: str, portfolio: UUID, building: UUID, at: datetime) -> bool:
    """Whether the user may do `action` in this building of this portfolio at `at`."""
    allowed = grants(user, action, at).filter(portfolio=portfolio)
    return allowed.filter(Q(building__isnull=True) | Q(building=building)).exists()


def boilers(user: User, action: str, at: datetime) -> QuerySet[Boiler]:
    """The boilers on which the user may do `action`: every list starts here."""
    whole = grants(user, action, at).filter(building__isnull=True).values("portfolio")
    single = grants(user, action, at).filter(building__isnull=False).values("building")
    return Boiler.objects.filter(Q(portfolio__in=whole) | Q(building__in=single))
