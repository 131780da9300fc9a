"""An absence and what follows from it: the person's jobs in that time are to be planned again, by an act each."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet

from fleet.accounts.absences import AbsenceRequest, record_absence
from fleet.accounts.models import Absence, User
from fleet.jobs import states
from fleet.jobs.acts import JobDecision
from fleet.jobs.models import Item, Job
from fleet.pipeline.jobs import act_on_job
from fleet.portfolio.locks import lock_boilers
from fleet.records.events import Cause


@dataclass(frozen=True, slots=True)
class RecordedAbsence:
    """An absence with the jobs whose plans were taken back because of it."""

    absence: Absence
    opened_jobs: list[Job]


def record_absence_and_open_jobs(
    *, portfolio: UUID, request: AbsenceRequest, by: User, at: datetime, cause: Cause | None = None
) -> RecordedAbsence:
    """Record an absence and withdraw the plans it makes impossible; all of it or nothing.

    The reason of each act says who is away, not why. Raises Refused as `record_absence` does. The caller checks that
    `by` may record absences and plan jobs in the whole portfolio.
    """
    with transaction.atomic():
        absence = record_absence(portfolio=portfolio, request=request, by=by, at=at)
        found_jobs = jobs_during(portfolio, request.user, (request.since, request.until), at)
        ids = list(found_jobs.values_list("id", flat=True))
        lock_boilers(Item.objects.filter(job__in=ids).values_list("boiler", flat=True))
        list(Job.objects.filter(id__in=ids).order_by("id").select_for_update(no_key=True).values_list("id"))
        reason = f"{absence.user.display_name} is away."
        opened_jobs = [
            act_on_job(
                job=job.id, decision=JobDecision("withdraw", reason), version=job.version, by=by, at=at, cause=cause
            )
            for job in jobs_during(portfolio, request.user, (request.since, request.until), at)  # as locked
        ]
    return RecordedAbsence(absence, opened_jobs)


def jobs_during(portfolio: UUID, person: UUID, span: tuple[datetime, datetime | None], at: datetime) -> QuerySet[Job]:
    """Return a person's jobs in a span that are planned and not begun, the first first."""
    withdrawable = [status for status in states.STATUSES if states.status_after(status, "withdraw")]
    jobs = Job.objects.filter(
        Q(technician=person) | Q(second=person),
        portfolio=portfolio,
        status__in=withdrawable,
        ends_at__gt=at,
        planned_until__gt=span[0],
    )
    jobs = jobs.filter(planned_since__lt=span[1]) if span[1] else jobs
    return jobs.select_related("building").order_by("planned_since", "id")
