"""Who can be sent on a day, as the planning of a day takes them: six queries for any number of people."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts import policy
from fleet.accounts.models import Absence, Grant, Qualification, User
from fleet.accounts.people import counting_qualifications
from fleet.calendar.spans import Span
from fleet.jobs import states
from fleet.jobs.consent import has_agreed
from fleet.jobs.models import Job
from fleet.planning.day_values import DayPerson, HeldSkill, PlannedStop
from fleet.planning.travel import HousePlace
from fleet.portfolio.models import Building
from fleet.records.row_spans import not_ended

FIELD = "technician"  # role and qualification of who goes to boilers
MAX_PEOPLE = 60  # columns of one page; who has a job that day comes first
MARGIN = timedelta(days=1)  # zones of a portfolio differ by less, and stops before midnight still need their way back


@dataclass(frozen=True, slots=True)
class DayTeam:
    """The people of a day, by name, and their accounts; `left_off` counts who had no room."""

    people: list[DayPerson]
    users: Mapping[UUID, User]
    left_off: int


def place_of(building: Building) -> HousePlace:
    """Return where a building stands."""
    return HousePlace(building.id, building.latitude_deg, building.longitude_deg)


def read_day_team(portfolio: UUID, span: tuple[datetime, datetime], holders: Collection[UUID], at: datetime) -> DayTeam:
    """Return who can be sent in a portfolio on a day, and `holders`, who have a job there that day."""
    moment = max(span[0], at)
    roles = list(Grant.objects.filter(not_ended(moment), portfolio=portfolio, is_from_job=False).exclude(user=None))
    skills = _skills_by_person(portfolio, span)
    candidates = {g.user_id for g in roles if _works_in_field(g, skills.get(g.user_id, ()))} | set(holders)
    rows = list(User.objects.filter(id__in=candidates, is_active=True).order_by("first_name", "username"))
    chosen = sorted(rows, key=lambda user: user.id not in holders)[:MAX_PEOPLE]
    users = {user.id: user for user in rows if user in chosen}
    away, stops = _absence_spans(portfolio, users, span), _stops_by_person(users, portfolio, span, at)
    buildings = _buildings_by_person(roles, holders, skills)
    people = [
        DayPerson(
            user.id,
            user.first_name or user.get_username(),
            skills=skills.get(user.id, ()),
            stops=stops[user.id],
            away=away[user.id],
            buildings=buildings.get(user.id),
        )
        for user in users.values()
    ]
    return DayTeam(people, users, len(rows) - len(chosen))


def _works_in_field(grant: Grant, skills: Iterable[HeldSkill]) -> bool:
    """Whether a role or, for one that may do jobs, a qualification makes somebody a person to be sent."""
    return grant.role == FIELD or (
        grant.role in policy.ACTIONS["job.answer"] and any(skill.code == FIELD for skill in skills)
    )


def _skills_by_person(portfolio: UUID, span: tuple[datetime, datetime]) -> dict[UUID, list[HeldSkill]]:
    by_person: dict[UUID, list[HeldSkill]] = defaultdict(list)
    rows: Iterable[Qualification] = counting_qualifications(portfolio).filter(not_ended(span[0]), since__lt=span[1])
    for row in rows:
        by_person[row.user_id].append(HeldSkill(row.code, row.since, row.until))
    return by_person


def _buildings_by_person(
    roles: Iterable[Grant], holders: Collection[UUID], skills: Mapping[UUID, Iterable[HeldSkill]]
) -> dict[UUID, frozenset[UUID]]:
    """Return the buildings of those who can be sent only to some: no role for all of it, no technician's license."""
    buildings: dict[UUID, set[UUID]] = defaultdict(set)
    anywhere = {g.user_id for g in roles if g.building_id is None}
    anywhere |= {person for person, held in skills.items() if any(skill.code == FIELD for skill in held)}
    for grant in roles:
        if grant.building_id and grant.user_id not in anywhere:
            buildings[grant.user_id].add(grant.building_id)
    for person in set(holders) - anywhere:
        buildings.setdefault(person, set())
    return {person: frozenset(ids) for person, ids in buildings.items()}


def _absence_spans(portfolio: UUID, users: Collection[UUID], span: tuple[datetime, datetime]) -> dict[UUID, list[Span]]:
    by_person: dict[UUID, list[Span]] = defaultdict(list)
    for row in Absence.objects.filter(not_ended(span[0]), portfolio=portfolio, user__in=users, since__lt=span[1]):
        until = min((t for t in (row.until, row.ended_at) if t), default=None)
        if until is None or until > row.since:
            by_person[row.user_id].append((row.since, until))
    return by_person


def _stops_by_person(
    users: Collection[UUID], portfolio: UUID, span: tuple[datetime, datetime], at: datetime
) -> dict[UUID, list[PlannedStop]]:
    """Return by person what they are planned for and have agreed to, in any portfolio: nobody is in two places.

    Where another portfolio's stop is stays unknown: its buildings are nobody else's business.
    """
    jobs = Job.objects.filter(
        Q(technician__in=users) | Q(second__in=users),
        status__in=states.HELD_STATUSES,
        ends_at__gt=at,
        planned_since__lt=span[1] + MARGIN,
        planned_until__gt=span[0] - MARGIN,
    ).select_related("building")
    by_person: dict[UUID, list[PlannedStop]] = defaultdict(list)
    belongs = _membership(users)
    for job in jobs.prefetch_related("acts"):
        assert job.planned_since
        assert job.planned_until
        place = place_of(job.building) if job.portfolio_id == portfolio else None
        stop = PlannedStop(job.id, job.planned_since, job.planned_until, place)
        for person in (job.technician_id, job.second_id):
            if person in users and person and has_agreed(job, person, job.acts.all(), belongs):
                by_person[person].append(stop)
    return by_person


def _membership(users: Collection[UUID]) -> Callable[[UUID, UUID, datetime], bool]:
    """Return the question who belongs to which portfolio when, answered from one query."""
    grants = list(Grant.objects.filter(user__in=users, is_from_job=False))

    def belongs(person: UUID, portfolio: UUID, moment: datetime) -> bool:
        return any(
            g.user_id == person and g.portfolio_id == portfolio and (g.until is None or g.until > moment)
            for g in grants
        )

    return belongs
