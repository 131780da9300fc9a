"""Making a job on the page: the building, what a trip there can do, what is refused; usable by anybody."""

from types import SimpleNamespace

import pytest
from django.test import Client

from fleet.jobs.models import Job
from fleet.web.shared import pages
from tests.cast import NOW, Fleet, make_person
from tests.jobs.crew import Crew, crew, held
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet, clock: SetClock, monkeypatch: pytest.MonkeyPatch) -> Crew:
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW))
    return crew(fleet)


@pytest.fixture
def dana(office: Crew, sign_in: SignIn) -> Client:
    return sign_in(office.dispatcher)


def address(office: Crew) -> str:
    return f"/jobs/new/?building={office.house().id}"


def test_the_buildings_with_most_that_is_open_come_first(office: Crew, dana: Client) -> None:
    held(office.fleet)
    told = read(dana, "/jobs/new/")
    assert '12 Alder Terrace</a> <span class="note">ALD12, 1 open' in told


@pytest.mark.parametrize(("q", "there"), [("alder", True), ("ALD12", True), ("nowhere", False)])
def test_a_building_is_found_by_its_address_or_reference(q: str, there: bool, office: Crew, dana: Client) -> None:
    assert ("12 Alder Terrace" in read(dana, f"/jobs/new/?q={q}")) == there


def test_what_a_trip_can_do_is_ticked_and_made_a_job(office: Crew, dana: Client) -> None:
    deficiency = held(office.fleet)
    assert f'value="{deficiency.id}" checked' in read(dana, address(office))
    sent = {"building": office.house().id, "item": [str(deficiency.id)], "note": "Ring twice."}
    response = dana.post("/jobs/make/", sent)
    job = Job.objects.get()
    assert (response.status_code, response["Location"]) == (302, f"/jobs/#job-{job.id}")
    assert (job.note, [i.deficiency_id for i in job.items.all()]) == ("Ring twice.", [deficiency.id])


def test_what_a_job_asks_already_is_not_offered_again(office: Crew, dana: Client) -> None:
    deficiency = held(office.fleet)
    office.make(deficiencies=[deficiency.id])
    assert str(deficiency.id) not in read(dana, address(office))


@pytest.mark.parametrize(
    ("items", "said"),
    [
        ([], "Name a deficiency or a procedure."),
        (["not an id"], "Not found in this building."),
        (["e603bd65-37e2-5ae4-a63b-9a191041916f never_heard_of"], "Position not found in this building."),
    ],
)
def test_what_is_refused_is_said_and_nothing_is_made(items: list[str], said: str, office: Crew, dana: Client) -> None:
    response = dana.post("/jobs/make/", {"building": office.house().id, "item": items})
    told = response.content.decode().split('role="alert"')[1].split("</div>")[0]
    assert response.status_code == 422
    assert said in told
    assert Job.objects.count() == 0


@pytest.mark.parametrize(("role", "status"), [("dispatcher", 200), ("manager", 200), ("technician", 403)])
def test_the_page_is_for_who_may_make_jobs(role: str, status: int, office: Crew, sign_in: SignIn) -> None:
    client = sign_in(make_person("pat", office.fleet.portfolio, role))
    assert client.get("/jobs/new/").status_code == status
    assert ('href="/jobs/new/"' in read(client, "/jobs/")) == (status == 200)


def test_another_portfolios_building_is_unknown_here(office: Crew, sign_in: SignIn) -> None:
    other = sign_in(office.fleet.outsider)
    assert other.get(address(office)).status_code == 403
    assert other.post("/jobs/make/", {"building": office.house().id}).status_code == 404


def test_who_signed_out_meanwhile_is_asked_to_sign_in(office: Crew) -> None:
    response = Client().post("/jobs/make/", {"building": office.house().id})
    assert (response.status_code, Job.objects.count()) == (302, 0)
