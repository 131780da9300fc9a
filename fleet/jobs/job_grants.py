"""A planned job gives its technician a grant for the building, with an end, so that the policy need not read jobs.

Somebody of another portfolio is asked first: the technician accepts the job, a second person joins it. The grant
holds from planning, or from that answer, to the end of the day after the planned one: late posts from places
without a signal and corrections within 24 hours are possible. A job that is taken away ends it.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts.grants import record_grant
from fleet.accounts.models import Grant
from fleet.accounts.policy import ACTIONS
from fleet.calendar import day_of, day_start
from fleet.jobs.consent import agreed_jobs
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
    wanted_until = _wanted_until(person, building, at)
    if access is None and wanted_until and not _has_standing_grant(person, building, wanted_until):
        access = _make_access(person, building, wanted_until)
    if access is None or access.grant.until is None:  # somebody made the grant permanent meanwhile
        return
    grant = access.grant
    until = max([t for t in (access.before, wanted_until) if t], default=min(access.grant.until, at))
    if until != grant.until:
        grant.until = until
        grant.save(update_fields=["until"])
        record_grant(grant, "from_job", at=at, by=None)


def _wanted_until(person: UUID, building: Building, at: datetime) -> datetime | None:
    """Return the end of the day after the last one on which a job is planned here that they agreed to; None without."""
    own_jobs = Q(technician=person) | Q(second=person)
    # What was planned longer ago gives nothing any more.
    planned_jobs = Job.objects.filter(
        own_jobs, building=building, planned_until__gt=at - timedelta(days=DAYS_AFTER + 2)
    )
    last = max((job.planned_until for job in agreed_jobs(planned_jobs, person) if job.planned_until), default=None)
    if last is None:
        return None
    return day_start(day_of(last, building.zone) + timedelta(days=1 + DAYS_AFTER), building.zone)


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
    grant, _ = Grant.objects.get_or_create(**values, role=GRANTED_ROLE, is_from_job=True, defaults={"until": until})
    return Access.objects.create(**values, grant=grant, before=None)
