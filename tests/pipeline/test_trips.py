"""Jobs of one house as one trip: one after the other, all or none."""

from datetime import timedelta

import pytest

from fleet import pipeline
from fleet.errors import Refused
from fleet.jobs.models import Job, JobAct
from fleet.notices.models import Notice
from fleet.pipeline import TripPlan
from fleet.portfolio.models import Building
from tests.cast import NOW, Fleet, make_fleet
from tests.jobs.crew import HOUR, TOMORROW, Crew, crew
from tests.notices.reach import give_address

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def jobs(office: Crew) -> list[Job]:
    return [office.make(("limit", "limit_trip")), office.make(("upper", "slow_drain"))]


def plan_all(office: Crew, jobs: list[Job], **more: object) -> list[Job]:
    plan = TripPlan(office.rosa.id, TOMORROW, office.second.id)
    pairs = [(job.id, job.version) for job in jobs]
    return pipeline.plan_trip(jobs=pairs, plan=plan, by=office.dispatcher, at=NOW)


def test_each_job_begins_when_the_one_before_it_ends(office: Crew, jobs: list[Job]) -> None:
    first, second = plan_all(office, jobs)
    assert (first.planned_since, second.planned_since) == (TOMORROW, TOMORROW + timedelta(minutes=jobs[0].minutes))
    assert {first.status, second.status} == {"planned"}


def test_the_second_person_goes_along_only_where_a_job_takes_two(office: Crew, jobs: list[Job]) -> None:
    first, second = plan_all(office, jobs)
    assert (first.people, first.second) == (1, None)
    assert (second.people, second.second) == (2, office.second)


def test_where_one_cannot_be_planned_none_is(office: Crew, jobs: list[Job]) -> None:
    minutes = jobs[0].minutes + jobs[1].minutes - 1
    end = (TOMORROW + timedelta(minutes=minutes)).strftime("%H:%M")  # one minute too early for the second job
    shut = f"mon-sun 00:00-{int(end[:2]) - 5:02}:{end[3:]}"
    Building.objects.update(access_hours=shut)
    with pytest.raises(Refused) as refused:
        plan_all(office, jobs)
    assert [fault.code for fault in refused.value.faults] == ["outside_access_hours"]
    assert set(Job.objects.values_list("status", flat=True)) == {"to_plan"}
    assert not JobAct.objects.filter(kind="plan").exists()


def test_a_job_that_somebody_changed_meanwhile_stops_the_trip(office: Crew, jobs: list[Job]) -> None:
    office.plan(jobs[1], TOMORROW + 6 * HOUR)
    with pytest.raises(Refused) as refused:
        plan_all(office, jobs)
    assert refused.value.status == 412
    jobs[0].refresh_from_db()
    assert jobs[0].status == "to_plan"


def test_jobs_of_two_houses_are_no_trip() -> None:
    office = crew(make_fleet("ALD12", "QUA48"))
    jobs = [office.make(("limit", "limit_trip")), office.make(("limit", "limit_trip"), key="QUA48 B1")]
    with pytest.raises(Refused) as refused:
        plan_all(office, jobs)
    assert [fault.code for fault in refused.value.faults] == ["not_one_house"]


def test_a_plan_taken_back_tells_the_person_and_opens_the_job(office: Crew, jobs: list[Job]) -> None:
    give_address(office.rosa)
    office.plan(jobs[0])
    row = office.act(jobs[0], "withdraw", reason="Called in sick.")
    assert (row.status, row.technician, row.planned_since) == ("to_plan", None, None)
    slips = Notice.objects.filter(kind="slip", user=office.rosa)
    assert {notice.data["change"] for notice in slips} == {"planned", "cancelled"}


def test_a_plan_is_not_taken_back_without_a_reason(office: Crew, jobs: list[Job]) -> None:
    office.plan(jobs[0])
    with pytest.raises(Refused) as refused:
        office.act(jobs[0], "withdraw", reason=" ")
    assert [fault.at for fault in refused.value.faults] == [("reason",)]
