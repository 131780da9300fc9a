"""Who was planned before people of other portfolios were asked keeps the job and its access; a new plan asks."""

from datetime import datetime
from importlib import import_module
from typing import Any

import pytest
from django.db import connection

from fleet.accounts import policy
from fleet.accounts.models import Grant, User
from fleet.jobs import asked
from fleet.jobs.models import Access, Job, JobAct
from fleet.pipeline.sweep import sweep
from fleet.portfolio.models import Portfolio
from tests.cast import DAY, NOW, Fleet, make_person
from tests.jobs.crew import HOUR, TOMORROW, Crew, crew
from tests.site_role import as_tables_owner

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def lena(fleet: Fleet) -> User:
    other = Portfolio.objects.create(ref="OTHER", name="Other Homes")
    return make_person("lena", other, "technician", "technician")


def planned(office: Crew, lena: User, asked_since: datetime) -> Job:
    """A job for two that was planned with Lena as the second, at a site where people are asked since an instant."""
    job = office.make(("limit", "limit_trip"))
    Job.objects.filter(id=job.id).update(people=2)
    job = office.plan(job, second=lena.id)
    statement = import_module("fleet.jobs.migrations.0004_plans_from_before_asking").ASKED_SINCE_THEN
    with as_tables_owner(), connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(
            "UPDATE django_migrations SET applied = %s WHERE app = 'jobs' AND name = '0003_grants_from_jobs'",
            [asked_since],
        )
        cursor.execute(statement)
    return job


def let_in_before(job: Job, lena: User) -> Grant:
    """Let her in as the plan did then: at once, until the end of the day after."""
    values: dict[str, Any] = {"user": lena, "portfolio_id": job.portfolio_id, "building": job.building}
    grant = Grant.objects.create(**values, role="technician", until=TOMORROW + 2 * DAY, is_from_job=True)
    Access.objects.create(**values, grant=grant)
    return grant


def may_post(lena: User, job: Job, at: datetime) -> bool:
    return policy.is_allowed(lena, "visit.post", job.portfolio_id, job.building_id, at)


@pytest.mark.parametrize(("asked_since", "is_from_before"), [(-HOUR, False), (0 * HOUR, False), (HOUR, True)])
def test_only_plans_from_before_people_were_asked_hold_whoever_they_name(
    office: Crew, lena: User, asked_since: Any, is_from_before: bool
) -> None:
    job = planned(office, lena, NOW + asked_since)
    assert JobAct.objects.get(job=job, kind="plan").asks_people is not is_from_before
    assert asked.requests_of(lena, NOW).jobs == [] if is_from_before else len(asked.requests_of(lena, NOW).jobs) == 1


def test_a_second_person_from_before_keeps_access_whatever_else_happens_to_the_job(office: Crew, lena: User) -> None:
    job = planned(office, lena, NOW + HOUR)
    grant = let_in_before(job, lena)
    office.act(job, "accept", at=NOW + 2 * HOUR)
    sweep(at=NOW + 3 * HOUR)
    grant.refresh_from_db()
    assert grant.until is not None
    assert grant.until > TOMORROW + DAY
    assert may_post(lena, job, TOMORROW)


def test_a_new_plan_asks_and_ends_the_access_that_came_with_the_old_one(office: Crew, lena: User) -> None:
    job = planned(office, lena, NOW + HOUR)
    let_in_before(job, lena)
    office.plan(job, TOMORROW + 30 * DAY, second=lena.id, at=NOW + 2 * HOUR)
    assert len(asked.requests_of(lena, NOW + 3 * HOUR).jobs) == 1
    assert not may_post(lena, job, NOW + 3 * HOUR)
