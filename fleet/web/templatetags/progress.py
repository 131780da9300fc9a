"""How far work has come, in words: on a deficiency, and of a job."""

from datetime import datetime

from django import template

from fleet.deficiencies.life import DeficiencyLife
from fleet.deficiencies.models import Deficiency
from fleet.jobs.current_job import CurrentJob
from fleet.web.templatetags.said import day, moment, word

register = template.Library()
OVER_STATUSES = ("closed", "withdrawn", "merged")


@register.simple_tag
def progress_text(row: Deficiency, life: DeficiencyLife, job: CurrentJob | None, zone: str, at: datetime) -> str:
    """Return its status at `at`: who is to do it and by when, or what was done and is not proven."""
    if life.status in OVER_STATUSES:
        return word(life.status)
    if life.status == "repaired":
        return f"Repaired, not proven{_repair_day(row, life, zone)}"
    if life.assigned and life.assigned.assignee and life.assigned.until:
        verb = "was to be done" if life.assigned.until <= at else "to be done"
        return f"Assigned to {life.assigned.assignee.display_name}, {verb} by {moment(life.assigned.until, zone)}"
    return f"Job {job_text(job, zone)}" if job else "Not assigned"


def _repair_day(row: Deficiency, life: DeficiencyLife, zone: str) -> str:
    if life.reported:
        return f": said to be done {day(life.reported.done_at, zone)}"
    return f", since {day(row.repaired_at, zone)}" if row.repaired_at else ""


@register.filter
def job_text(job: CurrentJob, zone: str) -> str:
    """Return the status of a job; if a technician has it planned, with the name and the time."""
    status = word(job.status).lower()
    if not job.held or job.job.technician is None:
        return status
    return f"{status}: {job.job.technician.display_name}, {moment(job.job.planned_since, zone)}"


DONE_WORDS = {"decline": "Declined", "withdraw": "Taken back", "cancel": "Cancelled"}


@register.filter
def done_word(act_kind: str) -> str:
    """Return an act on a job as what was done."""
    return DONE_WORDS.get(act_kind) or word(act_kind)
