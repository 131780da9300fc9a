"""Jobs at once: nobody in two places, also through real connections; a post beside an act; what they cost."""

from contextlib import suppress
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet import pipeline
from fleet.errors import Refused
from fleet.jobs.models import Job, JobAct
from tests.cast import NOW, Fleet, make_fleet
from tests.jobs.crew import HOUR, Crew, crew, held
from tests.pipeline.crowd import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def job(office: Crew) -> Job:
    """Asks for the hold of a failed flush to be put right."""
    return office.make(deficiencies=[held(office.fleet).id])


def told(refused: pytest.ExceptionInfo[Refused]) -> tuple[int, list[tuple[str, Any]]]:
    return refused.value.status, [(f.code, f.at) for f in refused.value.faults]


def test_nobody_is_in_two_places(office: Crew, job: Job) -> None:
    office.plan(job)
    other = office.make(("limit", "limit_trip"), key="ALD12 B2")
    end = Job.objects.get(id=job.id).planned_until
    assert end is not None
    with pytest.raises(Refused) as refused:
        office.plan(other, end - HOUR / 60)
    assert told(refused) == (409, [("elsewhere_then", ("to",))])
    assert office.plan(other, end).status == "planned"


def test_the_second_person_is_not_in_two_places_either(office: Crew) -> None:
    office.plan(office.make(("upper", "slow_drain")))
    with pytest.raises(Refused) as refused:
        office.plan(office.make(("limit", "limit_trip"), key="ALD12 B2"), to=office.second.id)
    assert told(refused) == (409, [("elsewhere_then", ("to",))])


@pytest.mark.django_db(transaction=True)
def test_of_eight_plans_for_one_person_at_once_one_holds(transactional_db: Any) -> None:
    office = crew(make_fleet("ALD12", "QUA48"))
    asked = [(place, code) for place, code in (("limit", "limit_trip"), ("valve", "lever_lift"))]
    keys = ("ALD12 B1", "ALD12 B2", "QUA48 B1")
    jobs = [office.make(pair, key=key) for key in keys for pair in asked]

    def plan(job: Job) -> str:
        try:
            return office.plan(job).status
        except Refused as refused:
            return refused.faults[0].code

    told_all = at_once(*[lambda job=job: plan(job) for job in jobs])
    assert sorted(told_all) == ["elsewhere_then"] * (len(jobs) - 1) + ["planned"]
    assert JobAct.objects.filter(kind="plan").count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_post_and_an_act_at_once_both_count(transactional_db: Any) -> None:
    office = crew(make_fleet())
    job = office.make(deficiencies=[held(office.fleet).id])
    visit = office.fleet.repaired(NOW + HOUR)

    def act() -> None:
        with suppress(Refused):  # the proof came first
            office.plan(job)

    at_once(lambda: office.fleet.post(visit, at=NOW + HOUR), act)
    job.refresh_from_db()
    assert job.status == "proven"
    assert pipeline.rebuild(at=NOW + HOUR) == 0


# Planning a job (38): the version it is decided on · what it asks · its boilers, the job, its people locked (3) · twice
# what is known of it: items, acts, release, deficiencies, entries (10) · grants and qualifications of who is sent (2) ·
# in two places · whether he belongs here · act, next version, the job (3) · its alerts · access: its own, jobs, their
# acts, grants (4) · the sentence (2) · pulse: lock, update; change (3) · its slip: the job, what was
# told of it, who gave an address (3) · the row read again · two savepoints.
ACT = 38
# What a post costs more where a job is open: items, acts, release, deficiencies, entries, its alerts.
OPEN = 6


def test_what_an_act_and_an_open_job_cost(office: Crew, job: Job) -> None:
    with CaptureQueriesContext(connection) as act:
        office.plan(job)
    costs = []
    for hours, cancel in ((2, False), (3, True)):
        if cancel:
            office.act(job, "cancel", reason="so", at=NOW + 2.5 * HOUR)
        visit = office.fleet.flushed(NOW + hours * HOUR, burner_stopped=False)
        with CaptureQueriesContext(connection) as post:
            office.fleet.post(visit, at=NOW + hours * HOUR)
        costs.append(len(post))
    assert (len(act), costs[0] - costs[1]) == (ACT, OPEN)
