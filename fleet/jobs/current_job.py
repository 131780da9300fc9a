"""The current job of each boiler or deficiency: the one nearest to being done."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts.models import User
from fleet.jobs import states
from fleet.jobs.models import Item, Job
from fleet.jobs.queries import status_at, visible_jobs

_ORDER = {s: n for n, s in enumerate((states.STARTED, states.ACCEPTED, states.PLANNED))}


@dataclass(frozen=True, slots=True)
class CurrentJob:
    """A job and its status at an instant."""

    job: Job
    status: str

    @property
    def held(self) -> bool:
        """Whether a technician has it planned."""
        return self.status in states.HELD_STATUSES


def current_jobs_of_boilers(user: User, boilers: Iterable[UUID], at: datetime) -> dict[UUID, CurrentJob]:
    """Return by boiler the current one of the jobs this person may see that have an open item there: one query."""
    return _nearest_jobs(Item.objects.filter(boiler__in=list(boilers)), "boiler_id", user, at)


def current_jobs_of_deficiencies(user: User, deficiencies: Iterable[UUID], at: datetime) -> dict[UUID, CurrentJob]:
    """Return the same by deficiency."""
    return _nearest_jobs(Item.objects.filter(deficiency__in=list(deficiencies)), "deficiency_id", user, at)


def _nearest_jobs(items: QuerySet[Item], key: str, user: User, at: datetime) -> dict[UUID, CurrentJob]:
    open_items = items.filter(job__in=visible_jobs(user, at)).exclude(job__status__in=states.OVER)
    nearest: dict[UUID, CurrentJob] = {}
    for item in open_items.select_related("job__technician").order_by("job__created_at", "job_id", "number"):
        if str(item.number) in item.job.settled:
            continue
        subject, current = getattr(item, key), CurrentJob(item.job, status_at(item.job, at))
        if subject not in nearest or _job_rank(current) < _job_rank(nearest[subject]):
            nearest[subject] = current
    return nearest


def _job_rank(current: CurrentJob) -> int:
    return _ORDER.get(current.status, len(_ORDER))
