"""The day book over the API: cells as the page shows them, and a free one is planned as it stands."""

from typing import Any

import pytest

from fleet.jobs.models import Job
from tests.api.phone import Phone
from tests.cast import NOW, Fleet
from tests.jobs.crew import Crew, crew

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def stopped_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    from types import SimpleNamespace

    from api import day_book, jobs

    for module in (day_book, jobs):
        monkeypatch.setattr(module, "timezone", SimpleNamespace(now=lambda: NOW))


@pytest.fixture
def office(fleet: Fleet) -> Crew:
    return crew(fleet)


@pytest.fixture
def dana(office: Crew) -> Phone:
    return Phone.of(office.dispatcher)


def read_book(phone: Phone, office: Crew, day: str = "2026-01-13") -> Any:
    response = phone.get(f"/api/v1/day-book/?portfolio={office.fleet.portfolio.id}&day={day}")
    assert response.status_code == 200, response.content
    return response.json()


def test_a_free_cell_is_planned_as_it_stands(office: Crew, dana: Phone) -> None:
    job = office.make(("upper", "slow_drain"))
    row = read_book(dana, office)["rows"][0]
    cell = row["cells"][0]
    assert (cell["state"], cell["sentence"], cell["travel_known"]) == ("free", "08:00 with tomas", True)
    body = {"to": cell["person"], "with": cell["second"], "start": cell["start"]}
    version = row["jobs"][0]["version"]
    response = dana.send("POST", f"/api/v1/jobs/{job.id}/plan/", body, headers={"If-Match": f'"{version}"'})
    assert response.status_code == 200, response.content
    cells = read_book(dana, office)["rows"][0]["cells"]
    assert [(c["state"], c["order"]) for c in cells] == [("planned", 1), ("planned", 1)]


def test_a_cell_that_is_not_free_names_its_reason(office: Crew, dana: Phone) -> None:
    office.make(("limit", "limit_trip"))
    Job.objects.update(skills=["valve_shop"])
    cells = read_book(dana, office)["rows"][0]["cells"]
    assert {(c["state"], c["why_not"], c["sentence"], c["start"]) for c in cells} == {
        ("not_possible", "no_skill", "not qualified: valve shop", None)
    }


def test_two_jobs_of_a_house_are_a_trip_before_each_by_itself(office: Crew, dana: Phone) -> None:
    office.make(("limit", "limit_trip"))
    office.make(("control", "operating_control_trip"))
    rows = read_book(dana, office)["rows"]
    assert [(row["is_trip"], len(row["jobs"])) for row in rows] == [(True, 2), (False, 1), (False, 1)]
    assert rows[0]["minutes"] == rows[1]["minutes"] + rows[2]["minutes"]


def test_the_people_of_the_day_have_their_ends_and_what_to_load(office: Crew, dana: Phone) -> None:
    office.plan(office.make(("limit", "limit_trip")))
    book = read_book(dana, office)
    rosa = next(p for p in book["people"] if p["name"] == "rosa")
    assert (book["zone"], rosa["ends_at"], rosa["spare_minutes"]) == ("America/New_York", "2026-01-13T14:50:00Z", 460)


@pytest.mark.parametrize(
    "query", ["", "?day=2026-01-13", "?portfolio=x&day=2026-01-13", "?portfolio={id}&day=tomorrow"]
)
def test_a_question_without_portfolio_or_day_is_refused(query: str, office: Crew, dana: Phone) -> None:
    response = dana.get(f"/api/v1/day-book/{query.format(id=office.fleet.portfolio.id)}")
    assert response.status_code == 400


@pytest.mark.parametrize(("opens", "status"), [(True, "to_plan"), (False, "planned")])
def test_an_absence_opens_the_persons_jobs_where_that_is_asked_for(
    opens: bool, status: str, office: Crew, dana: Phone
) -> None:
    job = office.plan(office.make(("limit", "limit_trip")))
    body = {"user": str(office.rosa.id), "since": "2026-01-13T05:00:00Z", "until": None, "stand_in": None}
    values = {**body, "reason": "sick", "opens_jobs": opens}
    response = dana.send("POST", f"/api/v1/portfolios/{office.fleet.portfolio.id}/absences/", values)
    job.refresh_from_db()
    assert (response.status_code, job.status) == (201, status)


def test_a_technician_opens_no_jobs_by_an_absence(office: Crew) -> None:
    job = office.plan(office.make(("limit", "limit_trip")))
    body = {"user": str(office.rosa.id), "since": "2026-01-13T05:00:00Z", "until": None, "stand_in": None}
    address = f"/api/v1/portfolios/{office.fleet.portfolio.id}/absences/"
    response = Phone.of(office.rosa).send("POST", address, {**body, "reason": "sick", "opens_jobs": True})
    job.refresh_from_db()
    assert (response.status_code, job.status) == (403, "planned")
