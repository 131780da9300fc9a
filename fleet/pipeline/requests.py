"""Answering what one is asked: a person of another portfolio says yes before a job, role or qualification begins."""

from dataclasses import dataclass
from datetime import datetime
from functools import partial
from uuid import UUID

from django.db import transaction

from fleet.accounts.grants import find_waiting
from fleet.accounts.models import Grant, Qualification, User
from fleet.errors import Refused
from fleet.jobs import asked
from fleet.jobs import asked_versions as versions
from fleet.jobs.acts import JobDecision
from fleet.pipeline.jobs import act_on_job
from fleet.pipeline.people import answer_qualification, answer_role
from fleet.records.events import Cause

KINDS = ("jobs", "roles", "qualifications")


@dataclass(frozen=True, slots=True)
class RequestAnswer:
    """Yes or no to one thing that was asked, in the version that was read. `kind` is one of KINDS.

    A job is declined with a reason.
    """

    kind: str
    subject: str
    accepts: bool
    version: str
    reason: str = ""


@transaction.atomic
def answer_request(*, answer: RequestAnswer, by: User, at: datetime, cause: Cause) -> None:
    """Take a person's answer to something they were asked, and note whether anything else waits for them.

    Raises Refused (404) where it does not wait for this person, 409 where it was changed after they read it, and as
    `act_on_job` does: 409 where they are planned elsewhere by now, 422 for a job declined without a reason.
    """
    if answer.kind == "jobs":
        _answer_job(answer, by, at, cause)
    elif answer.kind == "roles":
        role = find_waiting(Grant, _id_of(answer), by, at)  # locked until the answer is written
        versions.refuse_changed(answer.version, versions.role_version(role), versions.role_sentence(role))
        answer_role(grant=role.id, person=by, accepts=answer.accepts, at=at, cause=cause)
    elif answer.kind == "qualifications" and answer.subject.isdecimal() and len(answer.subject) < 19:
        row = find_waiting(Qualification, int(answer.subject), by, at)
        versions.refuse_changed(
            answer.version, versions.qualification_version(row), versions.qualification_sentence(row)
        )
        answer_qualification(qualification=row.id, person=by, accepts=answer.accepts, at=at, cause=cause)
    else:
        raise Refused("unknown", "Not found.", status=404)
    asked.note_requests(by, at)


def _answer_job(answer: RequestAnswer, by: User, at: datetime, cause: Cause) -> None:
    row = _find_job_as_read(answer, by, at)
    decision = JobDecision(("join" if row.as_second else "accept") if answer.accepts else "decline", answer.reason)
    act = partial(act_on_job, job=row.job.id, decision=decision, by=by, at=at, cause=cause)
    try:
        act(version=row.job.version)
    except Refused as refused:
        if refused.faults[0].code != "stale":
            raise
        # Somebody changed it between our reading it and locking it, and perhaps nothing that was read.
        act(version=_find_job_as_read(answer, by, at).job.version)


def _find_job_as_read(answer: RequestAnswer, by: User, at: datetime) -> asked.AskedJob:
    row = asked.find_asked_job(_id_of(answer), by, at)
    versions.refuse_changed(answer.version, row.version, versions.job_sentence(row.job, as_second=row.as_second))
    return row


def _id_of(answer: RequestAnswer) -> UUID:
    try:
        return UUID(answer.subject)
    except ValueError:
        raise Refused("unknown", "Not found.", status=404) from None
