"""Reading jobs: which somebody may see, each one's status at an instant, and its open items."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Q, QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.jobs import states
from fleet.jobs.models import Item, Job, JobAct


@dataclass(frozen=True, slots=True)
class JobItemState:
    """One item of a job, and how it was settled: None while it is open."""

    item: Item
    settled: dict[str, str | None] | None


@dataclass(frozen=True, slots=True)
class JobDetail:
    """A job at an instant, with its items and the acts about it, the oldest first."""

    job: Job
    status: str
    asked: list[JobItemState]
    acts: list[JobAct]

    @property
    def is_planned(self) -> bool:
        """Whether it has a time that somebody has not declined."""
        return self.job.planned_since is not None and self.status != states.DECLINED

    @property
    def open(self) -> list[JobItemState]:
        """The items that are still open."""
        return [a for a in self.asked if a.settled is None]


def visible_jobs(user: User, at: datetime) -> QuerySet[Job]:
    """Return the jobs a user may see: all in buildings with `job.see`, their own in those with `job.see_own`."""
    all_of = policy.boilers_for(user, "job.see", at).values("building")
    own_of = policy.boilers_for(user, "job.see_own", at).values("building")
    own_jobs = (Q(technician=user) | Q(second=user)) & Q(building__in=own_of)
    return Job.objects.filter(Q(building__in=all_of) | own_jobs)


def with_details(rows: QuerySet[Job]) -> QuerySet[Job]:
    """Return the jobs with all related rows that pages show, in three queries: unplanned first, then by day."""
    jobs = rows.select_related("building__portfolio", "technician", "second")
    jobs = jobs.prefetch_related("items__boiler", "items__position", "acts__by", "acts__technician", "acts__second")
    return jobs.order_by(F("planned_since").asc(nulls_first=True), "created_at", "id")


def job_detail(job: Job, at: datetime) -> JobDetail:
    """Return the job at `at`. One whose day has passed is missed, even if no sweep has stored that yet."""
    items = sorted(job.items.all(), key=lambda i: i.number)
    acts = sorted(job.acts.all(), key=lambda a: (a.at, a.acted_on))
    return JobDetail(job, status_at(job, at), [JobItemState(i, job.settled.get(str(i.number))) for i in items], acts)


def status_at(job: Job, at: datetime) -> str:
    """Return a job's status at `at`."""
    is_over = job.status in states.DATED and job.ends_at is not None and job.ends_at <= at
    return states.MISSED if is_over else job.status


def jobs_of_status(rows: QuerySet[Job], status: str, at: datetime) -> QuerySet[Job]:
    """Return the jobs whose `status_at` at `at` is this status."""
    is_over = Q(status__in=states.DATED, ends_at__isnull=False, ends_at__lte=at)
    return rows.filter(is_over | Q(status=status)) if status == states.MISSED else rows.filter(~is_over, status=status)


def job_details(rows: Iterable[Job], at: datetime) -> list[JobDetail]:
    """Return each of the jobs at `at`."""
    return [job_detail(job, at) for job in rows]
