"""Answering what one is asked: a person of another portfolio says yes before a job, role or qualification begins."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.errors import Refused
from fleet.jobs import asked
from fleet.jobs.acts import JobDecision
from fleet.pipeline.jobs import act_on_job
from fleet.pipeline.people import answer_qualification, answer_role
from fleet.records.events import Cause

KINDS = ("jobs", "roles", "qualifications")


@dataclass(frozen=True, slots=True)
class RequestAnswer:
    """Yes or no to one thing that was asked. `kind` is one of KINDS; a job is declined with a reason."""

    kind: str
    subject: str
    accepts: bool
    reason: str = ""


@transaction.atomic
def answer_request(*, answer: RequestAnswer, by: User, at: datetime, cause: Cause) -> None:
    """Take a person's answer to something they were asked, and note whether anything else waits for them.

    Raises Refused (404) where it does not wait for this person, and as `act_on_job` does: 409 where they are planned
    elsewhere by now, 422 for a job declined without a reason.
    """
    if answer.kind == "jobs":
        _answer_job(answer, by, at, cause)
    elif answer.kind == "roles":
        answer_role(grant=_id_of(answer), person=by, accepts=answer.accepts, at=at, cause=cause)
    elif answer.kind == "qualifications" and answer.subject.isdecimal() and len(answer.subject) < 19:
        answer_qualification(qualification=int(answer.subject), person=by, accepts=answer.accepts, at=at, cause=cause)
    else:
        raise Refused("unknown", "Not found.", status=404)
    asked.note_requests(by, at)


def _answer_job(answer: RequestAnswer, by: User, at: datetime, cause: Cause) -> None:
    row = asked.find_asked_job(_id_of(answer), by, at)
    yes = "join" if row.as_second else "accept"
    decision = JobDecision(yes if answer.accepts else "decline", answer.reason)
    act_on_job(job=row.job.id, decision=decision, version=row.job.version, by=by, at=at, cause=cause)


def _id_of(answer: RequestAnswer) -> UUID:
    try:
        return UUID(answer.subject)
    except ValueError:
        raise Refused("unknown", "Not found.", status=404) from None
