"""What other portfolios ask of one, by key: a job is answered, a role or qualification only when signed in."""

from typing import Any

import pytest
from django.test import Client

from fleet.accounts import keys
from fleet.accounts.models import Grant, User
from fleet.jobs.models import Job
from fleet.portfolio.models import Portfolio
from tests.api.phone import Phone
from tests.cast import DAY, NOW, Fleet, make_person
from tests.jobs.crew import TOMORROW, Crew, crew

HERE = "/api/v1/asked/"


@pytest.fixture
def office(fleet: Fleet, db: Any) -> Crew:
    return crew(fleet)


@pytest.fixture
def guest(office: Crew) -> User:
    return make_person("lena", Portfolio.objects.create(ref="OTHER", name="Other Homes"), "technician", "technician")


@pytest.fixture
def job(office: Crew, guest: User) -> Job:
    return office.plan(office.make(("limit", "limit_trip")), to=guest.id)


def read_version(read: Any, kind: str, subject: Any) -> str:
    """The version in which one is asked this now; another one where it is not asked."""
    return {str(row["id"]): row["version"] for row in read.get(kind, [])}.get(str(subject), "none")


def reply(phone: Phone, subject: Any, kind: str = "jobs", **body: Any) -> Any:
    version = read_version(phone.get(HERE).json(), kind, subject)
    return phone.send("POST", f"{HERE}{kind}/{subject}/", {"version": version, **body})


def test_a_job_is_listed_with_all_that_one_needs_to_say_yes(job: Job, guest: User) -> None:
    (one,) = Phone.of(guest).get(HERE).json()["jobs"]
    assert one["id"] == str(job.id)
    assert one["portfolio"] == "Sorrelgate Homes"
    assert one["address"] == "12 Alder Terrace"
    assert one["as_second"] is False
    assert one["skills"] == ["technician"]
    assert len(one["sentences"]) == 1
    assert one["start"]


def test_the_desk_sees_it_as_asked_and_who_is_asked(job: Job, office: Crew) -> None:
    seen = Phone.of(office.dispatcher).get(f"/api/v1/jobs/{job.id}/").json()
    assert seen["status"] == "asked"
    assert [act["kind"] for act in seen["acts"]] == ["created", "ask"]
    assert seen["acts"][-1]["to"] == "lena"


def test_who_is_asked_does_not_see_the_building_before(job: Job, guest: User, fleet: Fleet) -> None:
    phone = Phone.of(guest)
    places = (f"jobs/{job.id}/", f"boilers/{fleet.bench().boiler.id}/", f"buildings/{job.building_id}/")
    assert [phone.get(f"/api/v1/{place}").status_code for place in places] == [404, 404, 404]
    assert reply(phone, job.id, answer="accept").json() == {"jobs": [], "roles": [], "qualifications": []}
    assert [phone.get(f"/api/v1/{place}").status_code for place in places] == [200, 200, 200]


def test_a_no_needs_its_reason(job: Job, guest: User) -> None:
    assert reply(Phone.of(guest), job.id, answer="decline").status_code == 422
    assert reply(Phone.of(guest), job.id, answer="decline", reason="Away.").status_code == 200


@pytest.mark.parametrize("kind", ["jobs", "roles", "qualifications", "visits"])
@pytest.mark.parametrize("subject", ["nonsense", "7", "0" * 40, "2f939f8a-33cf-525d-b755-10a0a756636e"])
def test_what_does_not_wait_is_not_there(kind: str, subject: str, guest: User, db: Any) -> None:
    client = Client()
    client.force_login(guest)
    answered = client.post(
        f"{HERE}{kind}/{subject}/", {"answer": "accept", "version": "none"}, content_type="application/json"
    )
    assert answered.status_code == 404


def test_a_key_answers_jobs_only_and_a_key_of_one_portfolio_nothing(guest: User, fleet: Fleet, job: Job) -> None:
    role = Grant.objects.create(user=guest, portfolio=fleet.portfolio, role="manager", waits_since=NOW)
    assert reply(Phone.of(guest), role.id, "roles", answer="accept").status_code == 403
    for scopes, portfolio, answers in (
        (["read"], None, (200, 403)),
        (["read", "jobs"], guest.grants.get().portfolio_id, (403, 403)),
        (["read", "jobs"], None, (200, 200)),
    ):
        made = keys.create_key(user=guest, name="Tablet", scopes=scopes, portfolio=portfolio, at=NOW)
        phone = Phone(made.secret)
        assert (phone.get(HERE).status_code, reply(phone, job.id, answer="accept").status_code) == answers
    assert not Grant.objects.filter(id=role.id).exists()


def test_the_office_sees_who_is_asked_and_the_history_of_a_role(guest: User, fleet: Fleet, db: Any) -> None:
    owner = Phone.of(make_person("otis", fleet.portfolio, "owner"))
    people = f"/api/v1/portfolios/{fleet.portfolio.id}/people/"
    given = owner.send("POST", people, {"user": str(guest.id), "role": "technician"})
    assert given.status_code == 201
    assert given.json()["waits_since"]
    (seen,) = [one for one in owner.get(people).json()["items"] if one["username"] == "lena"]
    assert bool(seen["grants"][0]["waits_since"])
    client = Client()
    client.force_login(guest)
    at = f"{HERE}roles/{given.json()['id']}/"
    yes = {"answer": "accept", "version": read_version(client.get(HERE).json(), "roles", given.json()["id"])}
    assert client.post(at, yes, content_type="application/json").status_code == 200
    history = owner.get(f"{people}{guest.id}/roles/").json()["items"]
    assert {(one["kind"], one["by"], one["role"]) for one in history} == {
        ("asked", "otis", "technician"),
        ("accepted", "lena", "technician"),
    }


def test_a_yes_to_what_was_changed_after_it_was_read_is_refused_and_says_what_it_is_now(
    job: Job, guest: User, office: Crew
) -> None:
    phone = Phone.of(guest)
    read = read_version(phone.get(HERE).json(), "jobs", job.id)
    office.plan(job, TOMORROW + DAY, to=guest.id)
    answered = reply(phone, job.id, answer="accept", version=read)
    assert (answered.status_code, answered.json()["code"]) == (409, "changed")
    assert answered.json()["errors"][0]["pointer"] == "/version"
    assert answered.json()["detail"].endswith("It is now: 12 Alder Terrace, Wed 14 Jan 2026, 09:00 to 09:50.")
    assert reply(phone, job.id, answer="accept").status_code == 200


@pytest.mark.parametrize("body", [{"answer": "accept"}, {"answer": "decline", "reason": "Away."}])
def test_an_answer_says_to_which_version(body: dict[str, str], job: Job, guest: User) -> None:
    answered = Phone.of(guest).send("POST", f"{HERE}jobs/{job.id}/", body)
    assert (answered.status_code, answered.json()["errors"][0]["pointer"]) == (400, "/version")
