"""Who may do what: one table, closed by default. Every check is about one portfolio, perhaps one building of it."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts.models import Grant, User
from fleet.portfolio.models import Boiler, Portfolio
from fleet.records.row_spans import not_ended

ACTIONS: dict[str, frozenset[str]] = {
    "board.see": frozenset({"technician", "dispatcher", "manager", "owner", "caretaker", "inspector", "office"}),
    "visit.see": frozenset({"technician", "dispatcher", "manager", "owner", "caretaker", "inspector"}),
    "visit.post": frozenset({"technician", "dispatcher", "caretaker", "manager", "owner", "inspector"}),
    # within OWN_CORRECTION
    "visit.correct_own": frozenset({"technician", "dispatcher", "caretaker", "manager", "owner", "inspector"}),
    "visit.correct": frozenset({"manager", "owner"}),
    "visit.second": frozenset({"technician", "manager"}),
    # whoever sees it may be named at it
    "visit.reply": frozenset({"technician", "dispatcher", "manager", "owner", "caretaker", "inspector"}),
    "deficiency.assign": frozenset({"dispatcher", "manager", "owner"}),
    "deficiency.report_repair": frozenset({"technician", "caretaker", "manager", "owner"}),
    "deficiency.defer": frozenset({"manager", "owner"}),
    "deficiency.explain": frozenset({"technician", "manager"}),
    "alert.acknowledge": frozenset({"technician", "dispatcher", "manager", "owner"}),
    "alert.shelve": frozenset({"dispatcher", "manager", "owner"}),
    "job.see": frozenset({"dispatcher", "manager", "owner"}),
    "job.see_own": frozenset({"technician", "manager"}),
    "job.create": frozenset({"dispatcher", "manager", "owner"}),
    "job.plan": frozenset({"dispatcher", "manager", "owner"}),
    "job.answer": frozenset({"technician", "manager"}),  # of a job planned for oneself
    "job.cancel": frozenset({"dispatcher", "manager", "owner"}),
    "notice.see": frozenset({"dispatcher", "manager", "owner"}),  # of others; one's own everybody sees
    "call_list.see": frozenset({"technician", "dispatcher", "manager", "owner", "caretaker", "inspector", "office"}),
    "call_list.adopt": frozenset({"manager", "owner"}),
    "absence.record": frozenset({"dispatcher", "manager", "owner"}),
    "terms.see": frozenset({"technician", "dispatcher", "manager", "owner", "caretaker", "inspector", "office"}),
    "terms.adopt": frozenset({"owner"}),
    "card.see": frozenset({"technician", "dispatcher", "manager", "owner"}),
    "card.make": frozenset({"technician", "dispatcher", "manager", "owner"}),  # and end
    "register.see": frozenset({"technician", "dispatcher", "manager", "owner", "caretaker", "inspector", "office"}),
    "people.see": frozenset({"dispatcher", "manager", "owner", "office"}),
    "people.change": frozenset({"manager", "owner"}),  # a manager only those of MANAGED_ROLES
    "post.see_refused": frozenset({"manager", "owner", "office"}),
    "register.change": frozenset({"manager", "owner", "office"}),
    "self_check.see": frozenset({"manager", "owner", "office"}),
}

# What limits an action besides the role; enforced where the action is done.
LIMITS: dict[str, str] = {
    "visit.correct_own": "within 24 hours of posting",
    "visit.second": "a qualified technician, not the poster",
    "visit.reply": "named at another's visit, and qualified on its day",
    "deficiency.defer": "never a hold",
    "deficiency.explain": "a qualified technician",
    "job.see_own": "planned for oneself",
    "job.answer": "accept, decline or start what is planned for oneself",
    "terms.adopt": "for the whole portfolio",
    "people.change": "a manager: the roles of the field and of the desk",
}

# The desk: whoever takes calls and copies the paper log. Only its posts relay what an operator told.
DESK_ROLES = frozenset({"dispatcher", "manager", "owner"})

OWN_CORRECTION = timedelta(hours=24)  # after posting, an author corrects a visit without a manager


def grants_for(user: User, action: str, at: datetime) -> QuerySet[Grant]:
    """Return the user's grants in force at `at` that allow `action`, limited by the reach of the key in use."""
    roles, reach = ACTIONS[action], user.reach
    if reach is not None and not reach.covers_action(action):
        return Grant.objects.none()
    granted = Grant.objects.filter(not_ended(at), user=user, role__in=roles)
    return granted.filter(portfolio=reach.portfolio) if reach is not None and reach.portfolio else granted


def is_allowed(user: User, action: str, portfolio: UUID, building: UUID, at: datetime) -> bool:
    """Whether the user may do `action` in this building of this portfolio at `at`."""
    allowed = grants_for(user, action, at).filter(portfolio=portfolio)
    return allowed.filter(Q(building__isnull=True) | Q(building=building)).exists()


def roles_of(user: User, action: str, at: datetime) -> frozenset[str]:
    """Return the user's roles, anywhere, that allow `action` at `at`."""
    return frozenset(grants_for(user, action, at).values_list("role", flat=True))


def is_of_desk(user: UUID, portfolio: UUID, building: UUID, at: datetime) -> bool:
    """Return whether a person was of the desk for this building at `at`, by session or key alike."""
    here = Q(building__isnull=True) | Q(building=building)
    grants = Grant.objects.filter(not_ended(at), here, user=user, portfolio=portfolio, role__in=DESK_ROLES)
    return grants.exists()


def boilers_for(user: User, action: str, at: datetime) -> QuerySet[Boiler]:
    """Return the boilers on which the user may do `action` at `at`. Every list starts from this."""
    whole = grants_for(user, action, at).filter(building__isnull=True).values("portfolio")
    single = grants_for(user, action, at).filter(building__isnull=False).values("building")
    return Boiler.objects.filter(Q(portfolio__in=whole) | Q(building__in=single))


def portfolios_for(user: User, action: str, at: datetime) -> QuerySet[Portfolio]:
    """Return the portfolios in all of which the user may do `action` at `at`."""
    whole = grants_for(user, action, at).filter(building__isnull=True).values("portfolio")
    return Portfolio.objects.filter(id__in=whole)
