"""Called in sick: the absence is recorded and the plans it makes impossible are withdrawn, an act each."""

from datetime import datetime, timedelta

import pytest

from fleet import pipeline
from fleet.accounts.absences import AbsenceRequest
from fleet.accounts.models import Absence
from fleet.errors import Refused
from fleet.jobs.models import Job, JobAct
from fleet.pipeline import RecordedAbsence
from tests.cast import DAY, NOW, Fleet, make_person
from tests.jobs.crew import HOUR, TOMORROW, Crew, crew

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def job(office: Crew) -> Job:
    return office.plan(office.make(("limit", "limit_trip")))  # 09:00 to 09:50 tomorrow


def record(office: Crew, since: datetime, until: datetime | None, **more: object) -> RecordedAbsence:
    request = AbsenceRequest(office.rosa.id, since, until, stand_in=None, reason="sick")
    return pipeline.record_absence_and_open_jobs(
        portfolio=office.fleet.portfolio.id, request=request, by=office.dispatcher, at=NOW
    )


@pytest.mark.parametrize(
    ("since", "until", "status"),
    [
        (TOMORROW, TOMORROW + HOUR, "to_plan"),
        (TOMORROW - DAY, None, "to_plan"),
        (TOMORROW - HOUR, TOMORROW, "planned"),  # back when the job begins
        (TOMORROW - HOUR, TOMORROW + MINUTE, "to_plan"),
        (TOMORROW + 50 * MINUTE, None, "planned"),  # away when it has ended
        (TOMORROW + 49 * MINUTE, None, "to_plan"),
    ],
)
def test_a_job_within_the_absence_is_open_again(
    since: datetime, until: datetime | None, status: str, office: Crew, job: Job
) -> None:
    recorded = record(office, since, until)
    job.refresh_from_db()
    assert (job.status, len(recorded.opened_jobs)) == (status, int(status == "to_plan"))


def test_the_act_says_who_is_away_and_not_why(office: Crew, job: Job) -> None:
    record(office, TOMORROW, None)
    act = JobAct.objects.get(job=job, kind="withdraw")
    assert (act.by, act.reason) == (office.dispatcher, "rosa is away.")


def test_a_job_of_two_opens_when_the_second_person_is_away(office: Crew) -> None:
    make_person("sol", office.fleet.portfolio, "technician", "technician")
    job = office.make(("upper", "slow_drain"))
    office.plan(job, to=office.second.id, second=office.rosa.id)
    record(office, TOMORROW, None)
    job.refresh_from_db()
    assert (job.status, job.technician) == ("to_plan", None)


def test_what_is_under_way_and_what_others_do_stays(office: Crew) -> None:
    begun = office.started(office.make(("limit", "limit_trip")), NOW + HOUR)
    others = office.plan(office.make(("control", "operating_control_trip")), TOMORROW, to=office.second.id)
    record(office, NOW, None)
    for row, status in ((begun, "started"), (others, "planned")):
        row.refresh_from_db()
        assert row.status == status


def test_an_absence_that_is_refused_opens_nothing(office: Crew, job: Job) -> None:
    with pytest.raises(Refused):
        record(office, TOMORROW, TOMORROW - HOUR)
    job.refresh_from_db()
    assert (job.status, Absence.objects.count()) == ("planned", 0)
