"""A yes or no is to what was read: not to a job, role or qualification that was changed in between."""

from typing import Any

import pytest

from fleet.accounts.models import Grant, Qualification, User
from fleet.errors import Refused
from fleet.jobs import states
from fleet.jobs.models import Job
from fleet.portfolio.models import Portfolio
from tests.cast import DAY, NOW, Fleet, make_person
from tests.jobs.crew import HOUR, TOMORROW, Crew, crew
from tests.pipeline.asking import answer, code_of, grant, make_job, may_post, qualify, read_versions

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def guest(fleet: Fleet) -> User:
    """A technician of another portfolio, for whom the installation vouches."""
    return make_person("lena", Portfolio.objects.create(ref="OTHER", name="Other Homes"), "technician", "technician")


@pytest.fixture
def owner(fleet: Fleet) -> User:
    return make_person("otis", fleet.portfolio, "owner")


def changed(by: User, kind: str, subject: Any, version: str) -> str:
    """What a yes to an older version is answered."""
    with pytest.raises(Refused) as refused:
        answer(by, kind, subject, accepts=True, version=version)
    assert code_of(refused) == (409, "changed")
    return refused.value.faults[0].message


def test_a_yes_is_to_the_plan_that_was_read(office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), to=guest.id)
    read = read_versions(guest)[str(job.id)]
    office.plan(job, TOMORROW + DAY, to=guest.id)
    assert "Wed 14 Jan 2026" in changed(guest, "jobs", job.id, read)
    assert not may_post(guest, office, NOW + HOUR)
    with pytest.raises(Refused):  # nor is a no to what was read one to this
        answer(guest, "jobs", job.id, accepts=False, reason="Away.", version=read)


def test_a_plan_that_names_another_second_is_another_one(office: Crew, guest: User, fleet: Fleet) -> None:
    job = office.plan(make_job(office), to=guest.id)
    read = read_versions(guest)[str(job.id)]
    office.plan(job, to=guest.id, second=office.rosa.id)
    changed(guest, "jobs", job.id, read)


def test_a_job_that_changed_in_nothing_that_was_read_is_accepted(office: Crew, guest: User) -> None:
    job = office.plan(make_job(office), to=guest.id)
    read = read_versions(guest)[str(job.id)]
    Job.objects.filter(id=job.id).update(version=job.version + 5, note="Ring twice.")
    answer(guest, "jobs", job.id, accepts=True, version=read)
    assert Job.objects.get(id=job.id).status == states.ACCEPTED


def test_a_yes_is_to_the_role_and_the_qualification_that_were_read(
    guest: User, owner: User, fleet: Fleet, office: Crew
) -> None:
    role, named = grant(owner, fleet, guest), qualify(owner, fleet, guest)
    read = read_versions(guest)
    Grant.asked_or_accepted.filter(id=role.id).update(until=NOW + 400 * DAY)
    Qualification.asked_or_accepted.filter(id=named.id).update(until=NOW + 300 * DAY)
    said = changed(guest, "roles", role.id, read[str(role.id)])
    assert said.endswith("technician of Sorrelgate Homes, the whole portfolio, until Tue 16 Feb 2027 14:00 UTC.")
    assert "fire side from Sun 11 Jan 2026" in changed(guest, "qualifications", named.id, read[str(named.id)])
    assert not may_post(guest, office, NOW + HOUR)
    for kind, subject in (("roles", role.id), ("qualifications", named.id)):
        answer(guest, kind, subject, accepts=True)
    assert may_post(guest, office, NOW + 2 * HOUR)
