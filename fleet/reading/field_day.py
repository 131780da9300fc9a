"""A person's day in the field: today's and tomorrow's jobs in order, and the boilers that person may visit."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.people import qualification_codes_at
from fleet.board.models import Segment
from fleet.board.queries import holds_at
from fleet.calendar import day_of
from fleet.jobs import queries, states
from fleet.jobs.queries import JobDetail

MAX_BOILERS = 400  # of the list from which any boiler is opened; about 60 bytes each over the wire
DAYS_SHOWN = 2  # today and tomorrow


@dataclass(frozen=True, slots=True)
class DayJob:
    """One job with the building's day it is planned for; `is_late` for one of an earlier day that is still held."""

    detail: JobDetail
    day: date
    is_late: bool


@dataclass(frozen=True, slots=True)
class FieldDay:
    """What one person has to do, and where that person may post. `more` counts the boilers left off the list.

    `is_of_desk`: the person takes calls and copies paper logs, so an operator's word is relayed by these posts.
    """

    user: User
    at: datetime
    qualifications: Sequence[str]
    is_of_desk: bool
    jobs: Sequence[DayJob]
    boilers: Sequence[Segment]
    more: int


def compose_field_day(user: User, at: datetime) -> FieldDay:
    """Compose the day of one person from the jobs planned for that person and from the board."""
    postable = policy.boilers_for(user, "visit.post", at)
    rows = Segment.objects.filter(holds_at(at), boiler__in=postable).select_related("boiler__building")
    listed = rows.order_by("rank", "boiler__building__address", "boiler__name", "boiler_id")
    portfolios = set(postable.order_by().values_list("portfolio", flat=True).distinct())
    qualifications = {code for portfolio in portfolios for code in qualification_codes_at(portfolio, user.id, at)}
    return FieldDay(
        user=user,
        at=at,
        qualifications=sorted(qualifications),
        is_of_desk=policy.roles_of(user, "visit.post", at) & policy.DESK_ROLES != frozenset(),
        jobs=_jobs_of_days(user, at),
        boilers=list(listed[:MAX_BOILERS]),
        more=max(rows.count() - MAX_BOILERS, 0),
    )


def _jobs_of_days(user: User, at: datetime) -> list[DayJob]:
    own_jobs = queries.visible_jobs(user, at).filter(
        planned_since__isnull=False, planned_since__lt=at + timedelta(days=3)
    )
    details = queries.job_details(queries.with_details(own_jobs.filter(status__in=states.HELD_STATUSES)), at)
    day_jobs = []
    for detail in details:
        job = detail.job
        if user.id not in (job.technician_id, job.second_id) or job.planned_since is None:
            continue
        zone = job.building.zone
        today, day = day_of(at, zone), day_of(job.planned_since, zone)
        if day < today + timedelta(days=DAYS_SHOWN):
            day_jobs.append(DayJob(detail, day, day < today))
    return day_jobs
