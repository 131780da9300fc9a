"""Whether a person has agreed to a job: people of another portfolio are held by no plan that they have not accepted.

A plan for a technician who does not belong to the portfolio is recorded as `ask` and needs that technician's `accept`
afterwards. A second person who does not belong says yes by `join`. A new plan needs a new yes. Plans that were recorded
before people were asked hold whoever they name.
"""

from collections.abc import Callable, Iterable
from datetime import datetime
from uuid import UUID

from fleet.accounts.grants import belongs_to_portfolio
from fleet.jobs.models import Job, JobAct

PLANS = ("plan", "ask")
Belonging = Callable[[UUID, UUID, datetime], bool]


def has_agreed(job: Job, person: UUID, acts: Iterable[JobAct], belongs: Belonging = belongs_to_portfolio) -> bool:
    """Return whether the newest plan of a job is one that this person has accepted or did not have to be asked about.

    `acts` are those of the job in any order. False for somebody whom the newest plan does not name.
    `belongs` says who has a role in a portfolio; who asks about many jobs reads those roles at once.
    """
    ordered = sorted(acts, key=lambda act: act.acted_on)
    plan = next((act for act in reversed(ordered) if act.kind in PLANS), None)
    if plan is None or person not in (plan.technician_id, plan.second_id):
        return False
    answers = {(act.kind, act.by_id) for act in ordered if act.acted_on > plan.acted_on}
    if person == plan.technician_id:
        return plan.kind == "plan" or ("accept", person) in answers
    return (
        not plan.asks_people
        or ("join", person) in answers
        or belongs(person, job.portfolio_id, max(plan.since or plan.at, plan.at))
    )


def agreed_jobs(jobs: Iterable[Job], person: UUID) -> list[Job]:
    """Return those of the jobs to which a person has agreed. The acts are read with one query."""
    rows = list(jobs)
    acts_by_job: dict[UUID, list[JobAct]] = {job.id: [] for job in rows}
    for act in JobAct.objects.filter(job__in=acts_by_job):
        acts_by_job[act.job_id].append(act)
    return [job for job in rows if has_agreed(job, person, acts_by_job[job.id])]
