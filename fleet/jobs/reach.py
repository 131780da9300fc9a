"""A planned job gives its technician a grant for the building, with an end, so that the policy need not read jobs.

The grant holds from planning to the end of the day after the planned one: late posts from places without a signal
and corrections within 24 hours are possible. A job that is taken away ends it.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from fleet.accounts.models import Grant
from fleet.accounts.policy import ACTIONS
from fleet.calendar import day_of, day_start
from fleet.jobs.models import Access, Job
from fleet.portfolio.models import Building

ROLE = "technician"
DAYS_AFTER = 1


def settle(*, people: Iterable[UUID | None], building: Building, at: datetime) -> None:
    """Make these people's grants that come from jobs of this building equal to their plans."""
    for person in sorted({p for p in people if p}):
        _one(person, building, at)


def _one(person: UUID, building: Building, at: datetime) -> None:
    own = Access.objects.select_related("grant").filter(user=person, building=building).first()
    wanted = _wanted(person, building)
    if own is None and wanted and not _reaches(person, building, wanted):
        own = _new(person, building, wanted)
    if own is None or own.grant.until is None:  # somebody made the grant permanent meanwhile
        return
    until = max([t for t in (own.before, wanted) if t], default=min(own.grant.until, at))
    if until != own.grant.until:
        own.grant.until = until
        own.grant.save(update_fields=["until"])


def _wanted(person: UUID, building: Building) -> datetime | None:
    """Return the end of the day after the last one on which a job of theirs is planned here; None without any."""
    mine = Job.objects.filter(Q(technician=person) | Q(second=person), building=building, planned_until__isnull=False)
    last = mine.order_by("-planned_until").values_list("planned_until", flat=True).first()
    if last is None:
        return None
    return day_start(day_of(last, building.zone) + timedelta(days=1 + DAYS_AFTER), building.zone)


def _reaches(person: UUID, building: Building, until: datetime) -> bool:
    """Whether another grant lets this person do jobs here until then."""
    granted = Grant.objects.filter(
        Q(building=None) | Q(building=building),
        Q(until=None) | Q(until__gte=until),
        user=person,
        portfolio=building.portfolio_id,
        role__in=ACTIONS["job.answer"],
    )
    return granted.exists()


def _new(person: UUID, building: Building, until: datetime) -> Access:
    values = {"user_id": person, "portfolio_id": building.portfolio_id, "building": building}
    grant, made = Grant.objects.get_or_create(**values, role=ROLE, defaults={"until": until})
    return Access.objects.create(**values, grant=grant, before=None if made else grant.until)
