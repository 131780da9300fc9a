"""Reading jobs: which somebody may see, where each is at an instant, and what of it is still open."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, Q, QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.jobs import states
from fleet.jobs.models import Act, Item, Job


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing a job asks, and how it was settled: None while it is open."""

    item: Item
    settled: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class Shown:
    """A job at an instant, with what it asks and what people did about it, the oldest first."""

    job: Job
    status: str
    asked: list[Asked]
    acts: list[Act]

    @property
    def open(self) -> list[Asked]:
        """What is still open."""
        return [a for a in self.asked if a.settled is None]


def seen(user: User | Any, at: datetime) -> QuerySet[Job]:
    """The jobs somebody may see: all of where they plan, their own where they work."""
    all_of = policy.boilers(user, "job.see", at).values("building")
    own_of = policy.boilers(user, "job.see_own", at).values("building")
    own = (Q(technician=user) | Q(second=user)) & Q(building__in=own_of)
    return Job.objects.filter(Q(building__in=all_of) | own)


def listed(rows: QuerySet[Job]) -> QuerySet[Job]:
    """With all that is shown of them, in three queries: the unplanned first, then by day."""
    found = rows.select_related("building__portfolio", "technician", "second")
    found = found.prefetch_related("items__boiler", "items__position", "acts__by", "acts__technician", "acts__second")
    return found.order_by(F("planned_since").asc(nulls_first=True), "created_at", "id")


def shown(job: Job, at: datetime) -> Shown:
    """The job at `at`: one whose day has passed is missed, whether or not anything has looked since."""
    items = sorted(job.items.all(), key=lambda i: i.number)
    acts = sorted(job.acts.all(), key=lambda a: (a.at, a.acted_on))
    return Shown(job, status_at(job, at), [Asked(i, job.settled.get(str(i.number))) for i in items], acts)


def status_at(job: Job, at: datetime) -> str:
    """Where a job is at `at`."""
    passed = job.status in states.HELD and job.ends_at is not None and job.ends_at <= at
    return states.MISSED if passed else job.status


def of_status(rows: QuerySet[Job], status: str, at: datetime) -> QuerySet[Job]:
    """Those that are there at `at`, as `status_at` says of each."""
    passed = Q(status__in=states.HELD, ends_at__isnull=False, ends_at__lte=at)
    return rows.filter(passed | Q(status=status)) if status == states.MISSED else rows.filter(~passed, status=status)


def all_shown(rows: Iterable[Job], at: datetime) -> list[Shown]:
    """Each of them at `at`."""
    return [shown(job, at) for job in rows]
