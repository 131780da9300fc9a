"""A planned job gives its technician a grant for the building, with an end, so that the policy need not read jobs.

Somebody of another portfolio is asked first: the technician answers the job, a second person the grant itself. The
grant holds from planning, or from that answer, to the end of the day after the planned one: late posts from places
without a signal and corrections within 24 hours are possible. A job that is taken away ends it.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts.grants import belongs_to_portfolio, note_asked, record_grant
from fleet.accounts.models import Grant
from fleet.accounts.policy import ACTIONS
from fleet.calendar import day_of, day_start
from fleet.jobs import states
from fleet.jobs.models import Access, Job
from fleet.portfolio.models import Building

GRANTED_ROLE = "technician"
DAYS_AFTER = 1


def settle_job_grants(*, people: Iterable[UUID | None], building: Building, at: datetime) -> None:
    """Make these people's grants that come from jobs of this building equal to their plans."""
    for person in sorted({p for p in people if p}):
        _settle_person(person, building, at)


def _settle_person(person: UUID, building: Building, at: datetime) -> None:
    access = Access.objects.select_related("grant").filter(user=person, building=building).first()
    is_begun = access is not None and access.grant.waits_since is None and (access.grant.until or at) > at
    wanted_until = _wanted_until(person, building)
    if access is None and wanted_until and not _has_standing_grant(person, building, wanted_until):
        access = _make_access(person, building, wanted_until)
    if access is None or access.grant.until is None:  # somebody made the grant permanent meanwhile
        return
    grant, before = access.grant, (access.grant.until, access.grant.waits_since)
    grant.until = max([t for t in (access.before, wanted_until) if t], default=min(access.grant.until, at))
    if wanted_until and (is_begun or not _must_be_asked(person, building, at)):
        grant.waits_since = None
    elif wanted_until:
        grant.waits_since = grant.waits_since or at
    if (grant.until, grant.waits_since) != before:
        grant.save(update_fields=["until", "waits_since"])
        record_grant(grant, "from_job", at=at, by=None)
        if grant.waits_since:
            note_asked([person])


def _wanted_until(person: UUID, building: Building) -> datetime | None:
    """Return the end of the day after the last one on which a job of theirs is planned here; None without any."""
    last = _planned_jobs(person, building).order_by("-planned_until").values_list("planned_until", flat=True).first()
    if last is None:
        return None
    return day_start(day_of(last, building.zone) + timedelta(days=1 + DAYS_AFTER), building.zone)


def _planned_jobs(person: UUID, building: Building) -> QuerySet[Job]:
    """Return the jobs that are planned here for a person, without those to which the technician has to say yes yet."""
    own_jobs = Q(technician=person) | Q(second=person)
    return Job.objects.filter(own_jobs, building=building, planned_until__isnull=False).exclude(status=states.ASKED)


def _must_be_asked(person: UUID, building: Building, at: datetime) -> bool:
    """Whether this is somebody of another portfolio who comes as the second one: a technician has answered the job."""
    comes_first = _planned_jobs(person, building).filter(technician=person)
    return not (belongs_to_portfolio(person, building.portfolio_id, at) or comes_first.exists())


def _has_standing_grant(person: UUID, building: Building, until: datetime) -> bool:
    """Whether another grant lets this person do jobs here until then."""
    granted = Grant.objects.filter(
        Q(building=None) | Q(building=building),
        Q(until=None) | Q(until__gte=until),
        user=person,
        portfolio=building.portfolio_id,
        role__in=ACTIONS["job.answer"],
    )
    return granted.exists()


def _make_access(person: UUID, building: Building, until: datetime) -> Access:
    values = {"user_id": person, "portfolio_id": building.portfolio_id, "building": building}
    grant, created = Grant.asked_or_accepted.get_or_create(
        **values, role=GRANTED_ROLE, defaults={"until": until, "is_from_job": True}
    )
    return Access.objects.create(**values, grant=grant, before=None if created else grant.until)
