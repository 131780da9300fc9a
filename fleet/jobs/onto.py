"""The current job of each boiler or deficiency: the one nearest to being done."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from fleet.accounts.models import User
from fleet.jobs import states
from fleet.jobs.models import Item, Job
from fleet.jobs.queries import seen, status_at

_ORDER = {s: n for n, s in enumerate((states.STARTED, states.ACCEPTED, states.PLANNED))}


@dataclass(frozen=True, slots=True)
class On:
    """A job and its status at an instant."""

    job: Job
    status: str

    @property
    def held(self) -> bool:
        """Whether a technician has it planned."""
        return self.status in states.HELD


def of_boilers(user: User | Any, boilers: Iterable[UUID], at: datetime) -> dict[UUID, On]:
    """Return by boiler the current one of the jobs this person may see that have an open item there: one query."""
    return _nearest(Item.objects.filter(boiler__in=list(boilers)), "boiler_id", user, at)


def of_deficiencies(user: User | Any, deficiencies: Iterable[UUID], at: datetime) -> dict[UUID, On]:
    """Return the same by deficiency."""
    return _nearest(Item.objects.filter(deficiency__in=list(deficiencies)), "deficiency_id", user, at)


def _nearest(items: QuerySet[Item], key: str, user: User | Any, at: datetime) -> dict[UUID, On]:
    asked = items.filter(job__in=seen(user, at)).exclude(job__status__in=states.OVER)
    found: dict[UUID, On] = {}
    for item in asked.select_related("job__technician").order_by("job__created_at", "job_id", "number"):
        if str(item.number) in item.job.settled:
            continue
        of, here = getattr(item, key), On(item.job, status_at(item.job, at))
        if of not in found or _rank(here) < _rank(found[of]):
            found[of] = here
    return found


def _rank(on: On) -> int:
    return _ORDER.get(on.status, len(_ORDER))
