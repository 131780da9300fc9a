"""Several jobs of one house planned as one trip: for the same people, one after the other, all or none."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.jobs.acts import JobDecision
from fleet.jobs.models import Item, Job
from fleet.pipeline.jobs import act_on_job
from fleet.portfolio.locks import lock_boilers
from fleet.records.events import Cause


@dataclass(frozen=True, slots=True)
class TripPlan:
    """Who makes a trip, and when it begins."""

    technician: UUID
    start: datetime
    second: UUID | None = None
    reason: str = ""


def plan_trip(
    *, jobs: Sequence[tuple[UUID, int]], plan: TripPlan, by: User, at: datetime, cause: Cause | None = None
) -> list[Job]:
    """Plan these jobs of one building, each with the version it was seen in, in this order.

    Each begins when the one before it ends. The second person goes along where a job takes two. Raises Refused as
    `act_on_job` does, and then nothing is planned.
    """
    with transaction.atomic():
        minutes = _lock_trip(jobs)
        planned_jobs, start = [], plan.start
        for job, version in jobs:
            second = plan.second if minutes[job].people > 1 else None
            decision = JobDecision("plan", plan.reason, technician=plan.technician, second=second, since=start)
            row = act_on_job(job=job, decision=decision, version=version, by=by, at=at, cause=cause)
            assert row.planned_until
            planned_jobs.append(row)
            start = row.planned_until
    return planned_jobs


def _lock_trip(jobs: Sequence[tuple[UUID, int]]) -> dict[UUID, Job]:
    """Lock the boilers of all jobs, then the jobs by ascending id, as every write about one of them does."""
    ids = [job for job, _ in jobs]
    lock_boilers(Item.objects.filter(job__in=ids).values_list("boiler", flat=True))
    locked = Job.objects.filter(id__in=ids).order_by("id").select_for_update(no_key=True)
    rows = {row.id: row for row in locked}
    if len(rows) != len(set(ids)) or not ids:
        raise Refused("unknown", "Not found.", status=404)
    if len({row.building_id for row in rows.values()}) > 1:
        raise Refused("not_one_house", "A trip goes to one building. Plan the others by themselves.", status=422)
    return rows
