"""Jobs through the door: made, planned, accepted, declined, started; who sees which; what is suggested."""

from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from api.examples import TECHNICIAN
from api.jobs import ASK_EXAMPLE, DECLINE_EXAMPLE, PLAN_EXAMPLE
from fleet import pipeline
from fleet.accounts.models import Grant, Qualification, User
from fleet.catalog import queries as catalog
from fleet.deficiencies.models import Deficiency
from fleet.jobs.models import Job, JobAct
from fleet.management.demo.story import PORTFOLIO_ID
from fleet.portfolio.models import Portfolio
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from tests.api.phone import Phone, told
from tests.cast import DAY, LONG_AGO, NOW, Fleet, make_person, register

pytestmark = pytest.mark.django_db
JOBS = "/api/v1/jobs/"
START = (NOW + DAY).isoformat()


@pytest.fixture(scope="module")
def dana(fleet: Fleet) -> Phone:
    """The dispatcher's; boiler 1 is on hold."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - DAY, burner_stopped=False))
    return Phone.of(make_person("dana", fleet.portfolio, "dispatcher"))


def ask(fleet: Fleet, **more: Any) -> dict[str, Any]:
    """The limit of boiler 1 is to be tripped."""
    bench = fleet.bench()
    procedure = {"position": str(bench.places["limit"]), "procedure": "limit_trip"}
    return {"building": str(bench.boiler.building_id), "procedures": [procedure], **more}


def send(phone: Phone, job: dict[str, Any], what: str, **body: Any) -> Any:
    headers = {"If-Match": f'"{job["version"]}"', "X-Request-Id": "phone-000001"}
    return phone.send("POST", f"{JOBS}{job['id']}/{what}/", body, headers=headers)


def make(fleet: Fleet, dana: Phone) -> dict[str, Any]:
    return dict(dana.send("POST", JOBS, ask(fleet)).json())


def plan(fleet: Fleet, dana: Phone) -> dict[str, Any]:
    return dict(send(dana, make(fleet, dana), "plan", to=str(fleet.technician.id), start=START).json())


def test_from_the_making_to_the_start(fleet: Fleet, dana: Phone, rosa: Phone) -> None:
    made = dana.send("POST", JOBS, ask(fleet))
    planned = send(dana, made.json(), "plan", to=str(fleet.technician.id), start=START)
    accepted = send(rosa, planned.json(), "accept")
    assert [(r.status_code, r.json()["status"]) for r in (made, planned, accepted)] == [
        (201, "to_plan"),
        (200, "planned"),
        (200, "accepted"),
    ]
    early = send(rosa, accepted.json(), "start")
    assert (early.status_code, told(early)) == (409, [("not_its_day", "")])


def test_the_answer_says_what_it_takes(fleet: Fleet, dana: Phone) -> None:
    body = make(fleet, dana)
    assert body["minutes"] == 50
    assert body["people"] == 1
    assert body["skills"] == ["technician"]
    assert body["asked"][0]["settled"] is None


def test_a_declined_job_says_why(fleet: Fleet, dana: Phone, rosa: Phone) -> None:
    body = send(rosa, plan(fleet, dana), "decline", reason="Van broken.").json()
    assert body["status"] == "declined"
    assert body["to"] is None
    assert body["acts"][-1]["reason"] == "Van broken."
    assert JobAct.objects.order_by("-acted_on")[0].request_id == "phone-000001"


def test_a_technician_sees_own_jobs_a_dispatcher_all(fleet: Fleet, dana: Phone, rosa: Phone) -> None:
    job = make(fleet, dana)
    listed = [[j["id"] for j in phone.get(JOBS).json()["items"]] for phone in (dana, rosa)]
    assert listed == [[job["id"]], []]
    send(dana, job, "plan", to=str(fleet.technician.id), start=START)
    assert [j["id"] for j in rosa.get(JOBS).json()["items"]] == [job["id"]]


def test_another_technicians_job_is_not_there(fleet: Fleet, dana: Phone) -> None:
    job = plan(fleet, dana)
    other = Phone.of(make_person("tomas", fleet.portfolio, "technician", "technician"))
    unseen, unknown = (other.get(f"{JOBS}{i}/") for i in (job["id"], uuid4()))
    assert (unseen.status_code, unseen.content) == (404, unknown.content)


@pytest.mark.parametrize(("status", "count"), [("planned", 1), ("to_plan", 0)])
def test_the_list_is_asked_by_status_and_building(status: str, count: int, fleet: Fleet, dana: Phone) -> None:
    job = plan(fleet, dana)
    assert len(dana.get(f"{JOBS}?status={status}&building={job['building']}").json()["items"]) == count
    assert dana.get(f"{JOBS}?building={uuid4()}").json()["items"] == []


def test_what_is_suggested_can_be_made_as_it_stands(fleet: Fleet, dana: Phone) -> None:
    house = fleet.bench().boiler.building_id
    trip = dana.get(f"{JOBS}suggested/?building={house}").json()[0]
    assert (trip["level"], trip["skill"]) == ("hold", "technician")
    deficiencies = [i["deficiency"] for i in trip["items"] if i["deficiency"]]
    procedures = [{k: i[k] for k in ("position", "procedure")} for i in trip["items"] if not i["deficiency"]]
    body = {"building": str(house), "deficiencies": deficiencies, "procedures": procedures}
    made = dana.send("POST", JOBS, body)
    assert made.status_code == 201
    assert made.json()["minutes"] == trip["minutes"]
    assert made.json()["parts"] == trip["parts"]
    assert dana.get(f"{JOBS}suggested/?building={house}").json() == []


@pytest.mark.parametrize(
    ("more", "status", "fault"),
    [
        ({"deficiencies": [str(uuid4())]}, 422, ("unknown_deficiency", "/deficiencies/0")),
        (
            {"procedures": [{"position": str(uuid4()), "procedure": "limit_trip"}]},
            422,
            ("unknown_position", "/procedures/0/position"),
        ),
        ({"procedures": []}, 422, ("required", "")),
        ({"deficiencies": [str(uuid4())] * 61}, 400, ("too_many", "/deficiencies")),
        ({"colour": 1}, 400, ("unknown_field", "/colour")),
        ({"note": "\x00"}, 400, ("null_characters_not_allowed", "/note")),
    ],
)
def test_what_cannot_be_asked_is_refused_in_its_place(
    more: dict[str, Any], status: int, fault: Any, fleet: Fleet, dana: Phone
) -> None:
    response = dana.send("POST", JOBS, ask(fleet, **more))
    assert response.status_code == status
    assert fault in told(response)
    assert Job.objects.count() == 0


def test_another_buildings_things_are_not_there(fleet: Fleet, dana: Phone) -> None:
    elsewhere = fleet.bench("QUA48 B1").places["limit"]
    fleet.post(fleet.flushed(NOW, "QUA48 B1", burner_stopped=False))
    other = Deficiency.objects.filter(boiler__building__ref="QUA48").first()
    assert other is not None
    procedures = [{"position": str(elsewhere), "procedure": "limit_trip"}]
    response = dana.send("POST", JOBS, ask(fleet, procedures=procedures, deficiencies=[str(other.id)]))
    assert [code for code, _ in told(response)] == ["unknown_deficiency", "unknown_position"]


def test_of_two_who_read_the_same_version_the_second_is_told(fleet: Fleet, dana: Phone) -> None:
    job = make(fleet, dana)
    first, second = (send(dana, job, "plan", to=str(fleet.technician.id), start=START) for _ in range(2))
    assert first.status_code == 200
    assert second.status_code == 412
    assert told(second) == [("stale", "/version")]


def test_a_job_whose_day_has_passed_reads_missed_though_nothing_ran(fleet: Fleet, dana: Phone) -> None:
    job = plan(fleet, dana)
    Job.objects.update(ends_at=NOW)
    assert dana.get(f"{JOBS}{job['id']}/").json()["status"] == "missed"


def test_the_examples_are_accepted_as_they_stand(fleet: Fleet) -> None:
    portfolio = Portfolio.objects.create(id=PORTFOLIO_ID, ref="DEMO", name="Sorrelgate Homes")
    rows = [r for r in parse_sheet(register(), catalog.catalogue_of(1)) if r.building_ref == "ALD12"]
    pipeline.change_register(portfolio=portfolio, rows=rows, at=NOW - 600 * DAY, cause=Cause(who="demo"))
    user = User.objects.create_user("rosa-of-the-demonstration", id=UUID(TECHNICIAN))
    Grant.objects.create(user=user, portfolio=portfolio, role="technician")
    Qualification.objects.create(user=user, code="technician", since=LONG_AGO)
    henk = Phone.of(make_person("henk", portfolio, "dispatcher"))
    made = henk.send("POST", JOBS, ASK_EXAMPLE)
    planned = send(henk, made.json(), "plan", **PLAN_EXAMPLE)
    declined = send(Phone.of(user), planned.json(), "decline", **DECLINE_EXAMPLE)
    assert [r.status_code for r in (made, planned, declined)] == [201, 200, 200]


# key with its person; the newest ids; jobs with building and people; items, boilers, positions; acts, who, for whom
LIST = 9


def test_what_the_list_costs(fleet: Fleet, dana: Phone) -> None:
    plan(fleet, dana)
    with CaptureQueriesContext(connection) as captured:
        dana.get(JOBS)
    assert len(captured) == LIST
