"""Calls over the API: taken, joined, listed for who sees the jobs of the house."""

from typing import Any

import pytest

from fleet import pipeline
from fleet.jobs.calls import CallRequest
from fleet.jobs.models import Job
from tests.api.phone import Phone
from tests.cast import NOW, Fleet, make_person
from tests.jobs.crew import HOUR, Crew, crew

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def dana(office: Crew) -> Phone:
    return Phone.of(office.dispatcher)


def take(phone: Phone, office: Crew, **more: Any) -> Any:
    return phone.send("POST", "/api/v1/calls/", {"building": str(office.house().id), "kind": "no_heat", **more})


def test_a_call_is_taken_and_a_further_one_joins_its_job(office: Crew, dana: Phone) -> None:
    first, second = take(dana, office, flat="3B"), take(dana, office, kind="water", flat="4A")
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json()["job"] == second.json()["job"]
    job = dana.get(f"/api/v1/jobs/{first.json()['job']}/").json()
    assert [item["call"] for item in job["asked"]] == [first.json()["id"], second.json()["id"]]


def test_the_list_has_the_newest_first_and_may_be_asked_for_a_kind(office: Crew, dana: Phone) -> None:
    for kind, hours in (("noise", 2), ("no_heat", 1)):
        request, at = CallRequest(kind), NOW - hours * HOUR
        pipeline.take_call(building=office.house().id, request=request, by=office.dispatcher, at=at)
    kinds = [call["kind"] for call in dana.get("/api/v1/calls/").json()["items"]]
    only = [call["kind"] for call in dana.get("/api/v1/calls/?kind=noise").json()["items"]]
    assert (kinds, only) == (["no_heat", "noise"], ["noise"])


@pytest.mark.parametrize(
    ("values", "status"),
    [
        ({"kind": "boredom"}, 400),
        ({"flat": "x" * 41}, 400),
        ({"note": "a\x00b"}, 400),
        ({"since": "2036-01-01T00:00:00Z"}, 422),
        ({"what": 1}, 400),
    ],
)
def test_what_is_refused_makes_no_job(values: dict[str, Any], status: int, office: Crew, dana: Phone) -> None:
    assert take(dana, office, **values).status_code == status
    assert not Job.objects.exists()


@pytest.mark.parametrize(("role", "status", "count"), [("manager", 201, 2), ("technician", 403, 0), ("office", 403, 0)])
def test_calls_are_for_who_plans(role: str, status: int, count: int, office: Crew, dana: Phone) -> None:
    take(dana, office)
    phone = Phone.of(make_person("pat", office.fleet.portfolio, role))
    assert take(phone, office).status_code == status
    assert len(phone.get("/api/v1/calls/").json()["items"]) == count
