"""Asking people of another portfolio, and answering as they do."""

from typing import Any

import pytest

from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import Grant, Qualification, User
from fleet.accounts.people import RoleWish
from fleet.errors import Refused
from fleet.jobs import asked
from fleet.jobs.asked_versions import qualification_version, role_version
from fleet.jobs.models import Job
from fleet.pipeline import RequestAnswer
from fleet.records.events import Cause
from tests.cast import DAY, NOW, Fleet
from tests.jobs.crew import HOUR, Crew


def read_versions(by: User, at: Any = NOW) -> dict[str, str]:
    """The version of all that is asked of somebody, as he reads it."""
    requests = asked.requests_of(by, at)
    jobs = {str(row.job.id): row.version for row in requests.jobs}
    roles = {str(row.id): role_version(row) for row in requests.roles}
    return {**jobs, **roles, **{str(row.id): qualification_version(row) for row in requests.qualifications}}


def answer(
    by: User,
    kind: str,
    subject: Any,
    *,
    accepts: bool,
    at: Any = NOW + HOUR,
    reason: str = "",
    version: str | None = None,
) -> None:
    read = read_versions(by, at).get(str(subject), "") if version is None else version
    given = RequestAnswer(kind, str(subject), accepts, version=read, reason=reason)
    pipeline.answer_request(answer=given, by=by, at=at, cause=Cause(who=by.username))
    by.refresh_from_db()


def may_post(person: User, office: Crew, at: Any) -> bool:
    boiler = office.fleet.bench().boiler
    return policy.is_allowed(person, "visit.post", boiler.portfolio_id, boiler.building_id, at)


def grant(owner: User, fleet: Fleet, to: User, role: str = "technician", at: Any = NOW, building: Any = None) -> Grant:
    return pipeline.grant_role(
        portfolio=fleet.portfolio.id,
        user=to.id,
        new=("", ""),
        wish=RoleWish(role, building),
        by=owner,
        at=at,
        cause=Cause(who="otis"),
    )


def qualify(owner: User, fleet: Fleet, person: User, code: str = "fire_side", until: Any = None) -> Qualification:
    return pipeline.qualify_person(
        portfolio=fleet.portfolio.id,
        user=person.id,
        code=code,
        since=NOW - DAY,
        until=until,
        by=owner,
        at=NOW,
        cause=Cause(who="otis"),
    )


def code_of(refused: pytest.ExceptionInfo[Refused]) -> tuple[int, str]:
    return refused.value.status, refused.value.faults[0].code


def make_job(office: Crew) -> Job:
    return office.make(("limit", "limit_trip"))
