"""Called in sick: two presses open the jobs of a person again, half days, and the end of an absence."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from fleet.accounts.models import Absence
from fleet.jobs.models import Job
from tests.cast import NOW, Fleet, make_person
from tests.jobs.crew import HOUR, TOMORROW, Crew, crew
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import read

pytestmark = pytest.mark.django_db
DAY_WORDS = "day=2026-01-13"


@pytest.fixture
def office(fleet: Fleet, clock: SetClock) -> Crew:
    return crew(fleet)


@pytest.fixture
def job(office: Crew) -> Job:
    return office.plan(office.make(("limit", "limit_trip")))


@pytest.fixture
def dana(office: Crew, sign_in: SignIn) -> Client:
    return sign_in(office.dispatcher)


def address(office: Crew) -> str:
    return f"/jobs/day/away/?{DAY_WORDS}&person={office.rosa.id}"


def send(client: Client, office: Crew, **fields: str) -> Any:
    values = {"reason": "sick", "first": "2026-01-13", "last": "2026-01-13", "part": "day", "stand_in": ""}
    person = {"day": "2026-01-13", "person": office.rosa.id}
    return client.post("/jobs/day/away/record/", {**values, **person, **fields})


def test_the_page_says_which_jobs_open_and_who_could_go(office: Crew, job: Job, dana: Client) -> None:
    told = " ".join(read(dana, address(office)).split())
    assert "Away: rosa" in told
    assert "Tue 13 Jan 2026, 09:00 EST, 12 Alder Terrace: could go tomas 08:00" in told


def test_the_head_of_a_persons_column_leads_there_and_one_press_opens_the_jobs(
    office: Crew, job: Job, dana: Client
) -> None:
    assert f"/jobs/day/away/?portfolio={office.fleet.portfolio.id}&amp;{DAY_WORDS}" in read(
        dana, f"/jobs/day/?{DAY_WORDS}"
    )
    response = send(dana, office)
    job.refresh_from_db()
    assert (response.status_code, job.status) == (302, "to_plan")
    body = read(dana, response["Location"])
    assert "rosa is away. 1 job to be planned again." in " ".join(body.split())
    assert '<span class="why">off</span>' in body


@pytest.mark.parametrize(
    ("part", "since", "until"),
    [
        ("day", TOMORROW - 9 * HOUR, TOMORROW + 15 * HOUR),
        ("morning", TOMORROW - 9 * HOUR, TOMORROW + 3 * HOUR),
        ("afternoon", TOMORROW + 3 * HOUR, TOMORROW + 15 * HOUR),
    ],
)
def test_half_a_day_ends_or_begins_at_noon(part: str, since: Any, until: Any, office: Crew, dana: Client) -> None:
    assert send(dana, office, part=part).status_code == 302
    absence = Absence.objects.get()
    assert (absence.since, absence.until) == (since, until)


def test_noon_is_noon_on_the_day_of_a_clock_change(office: Crew, dana: Client) -> None:
    assert send(dana, office, part="morning", first="2026-03-08", last="2026-03-08").status_code == 302
    absence = Absence.objects.get()
    assert absence.until is not None
    assert absence.until - absence.since == timedelta(hours=11)


def test_without_a_last_day_it_lasts_until_further_notice(office: Crew, dana: Client) -> None:
    assert send(dana, office, last="").status_code == 302
    assert Absence.objects.get().until is None


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"first": ""}, "First day: Enter the day on which it begins."),
        ({"last": "soon"}, "Last day: Enter a day, or leave it empty."),
        ({"part": "morning", "last": "2026-01-14"}, "Part of the day: Half a day begins and ends on one day."),
        ({"last": "2026-01-12"}, "Last day: The end must come after the beginning, and after now."),
        ({"reason": "tired"}, "Reason: One of sick, holiday, other."),
    ],
)
def test_what_is_refused_is_said_and_what_was_typed_stays(
    fields: dict[str, str], words: str, office: Crew, job: Job, dana: Client
) -> None:
    response = send(dana, office, **{"first": "2026-01-13", **fields})
    body = response.content.decode()
    job.refresh_from_db()
    assert (response.status_code, job.status) == (422, "planned")
    assert words in body
    assert '<option value="2026-01-13" selected>' in body
    assert f'<option value="{fields.get("part", "day")}" selected>' in body


def test_an_absence_is_ended_from_the_page(office: Crew, dana: Client) -> None:
    send(dana, office)
    row = Absence.objects.get()
    form = {"day": "2026-01-13", "person": office.rosa.id}
    assert dana.post(f"/jobs/day/away/{row.id}/end/", form).status_code == 302
    row.refresh_from_db()
    assert row.ended_at == NOW
    assert "Absences on record" not in read(dana, address(office))


def test_who_plans_one_house_only_records_nobodys_absence(office: Crew, sign_in: SignIn) -> None:
    person = make_person("hal", office.fleet.portfolio, "technician")
    person.grants.create(portfolio=office.fleet.portfolio, role="dispatcher", building=office.house())
    client = sign_in(person)
    assert client.get(address(office)).status_code == 403
    assert send(client, office).status_code == 403
