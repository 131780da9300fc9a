"""What a person of another portfolio is asked: to do a job, to come along as the second one, to take a role.

Nobody is planned, granted or qualified elsewhere without a yes. What is asked is seen by the person it is asked of and
by nobody else; a job whose day has passed is no longer asked.
"""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q

from fleet.accounts.grants import waiting_grants
from fleet.accounts.models import Grant, Qualification, User
from fleet.accounts.people import waiting_qualifications
from fleet.errors import Refused
from fleet.jobs import states
from fleet.jobs.asked_versions import job_version
from fleet.jobs.consent import agreed_jobs
from fleet.jobs.models import Job
from fleet.records.disk_room import has_room


@dataclass(frozen=True, slots=True)
class AskedJob:
    """A job that waits for a person's answer. `as_second`: somebody else leads it, and one would come along."""

    job: Job
    as_second: bool

    @property
    def version(self) -> str:
        """The version of what the person reads."""
        return job_version(self.job, as_second=self.as_second)


@dataclass(frozen=True, slots=True)
class Requests:
    """All that waits for one person's answer, each kind with the oldest first."""

    jobs: list[AskedJob]
    roles: list[Grant]
    qualifications: list[Qualification]

    def __bool__(self) -> bool:
        """Whether anything waits."""
        return bool(self.jobs or self.roles or self.qualifications)


def requests_of(person: User, at: datetime) -> Requests:
    """Return all that waits for this person's answer at `at`."""
    return Requests(asked_jobs(person, at), waiting_grants(person, at), waiting_qualifications(person, at))


def asked_jobs(person: User, at: datetime) -> list[AskedJob]:
    """Return the jobs that wait for this person, as the technician or as the second one, by day."""
    first = Q(technician=person, status=states.ASKED)
    second = Q(second=person, status__in=(states.PLANNED, states.ACCEPTED))
    jobs = Job.objects.filter(first | second, ends_at__gt=at).select_related("building__portfolio")
    rows = list(jobs.prefetch_related("items__boiler").order_by("planned_since", "id"))
    agreed = {job.id for job in agreed_jobs(rows, person.id)}
    return [AskedJob(job, job.technician_id != person.id) for job in rows if job.id not in agreed]


def find_asked_job(job: UUID, person: User, at: datetime) -> AskedJob:
    """Return one job that waits for this person. Raises Refused (404) for any other."""
    asked_job = next((row for row in asked_jobs(person, at) if row.job.id == job), None)
    if asked_job is None:
        raise Refused("unknown", "Not found.", status=404)
    return asked_job


def note_requests(person: User, at: datetime) -> Requests:
    """Return all that waits for this person, and note on the person whether there is anything."""
    requests = requests_of(person, at)
    person.refresh_from_db(fields=["is_asked"])
    if person.is_asked != bool(requests) and has_room():  # a page of a full disk is only read
        person.is_asked = bool(requests)
        person.save(update_fields=["is_asked"])
    return requests
