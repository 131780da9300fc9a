"""What other portfolios ask of one: shown at sign-in and as a link, answered with a button."""

from types import SimpleNamespace

import pytest
from django.test import Client

from fleet.accounts.models import Grant, User
from fleet.jobs.models import Job
from fleet.portfolio.models import Portfolio
from fleet.web.shared import pages
from tests.cast import DAY, NOW, Fleet, make_person
from tests.jobs.crew import TOMORROW, crew
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import read

pytestmark = pytest.mark.django_db
AT = "/asked/"


@pytest.fixture(autouse=True)
def now(clock: SetClock, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW))


@pytest.fixture
def lena(fleet: Fleet) -> User:
    return make_person("lena", Portfolio.objects.create(ref="OTHER", name="Other Homes"), "technician", "technician")


@pytest.fixture
def job(fleet: Fleet, lena: User) -> Job:
    office = crew(fleet)
    return office.plan(office.make(("limit", "limit_trip")), to=lena.id)


def version_on_page(client: Client, subject: object) -> str:
    """The version that the form of what is asked carries; "" where the page has none."""
    form = client.get(AT).content.decode().partition(f'/{subject}/"')[2]
    return form.partition('name="version" value="')[2].partition('"')[0]


def give(client: Client, job: Job, **form: str) -> tuple[int, str]:
    sent = {"version": version_on_page(client, job.id), **form}
    response = client.post(f"{AT}jobs/{job.id}/", sent)
    return response.status_code, response.content.decode()


def test_signing_in_leads_to_what_waits_and_later_to_where_one_came_from(job: Job, lena: User, client: Client) -> None:
    form = {"username": "lena", "password": "oak-valve-2609", "next": "/jobs/"}
    assert client.post("/sign-in/?next=/jobs/", form)["Location"] == AT
    assert give(client, job, answer="accept")[0] == 302
    client.post("/sign-out/")
    assert client.post("/sign-in/?next=/jobs/", form)["Location"] == "/jobs/"


def test_every_page_has_the_link_while_something_waits(job: Job, lena: User, sign_in: SignIn) -> None:
    client = sign_in(User.objects.get(id=lena.id))
    assert f'href="{AT}"' in read(client, "/account/")
    give(client, job, answer="decline", reason="Away.")
    assert f'href="{AT}"' not in read(client, "/account/")
    assert "Nothing waits for your answer." in read(client, AT)


def test_a_job_says_where_when_what_and_what_accepting_opens(job: Job, lena: User, sign_in: SignIn) -> None:
    body = read(sign_in(lena), AT)
    said = ("12 Alder Terrace", "Sorrelgate Homes asks you:", "Tue 13 Jan", "is asked for", "Nothing of this begins")
    assert [words for words in said if words not in body] == []


def test_a_job_declined_without_a_reason_is_told_so_and_stays(job: Job, lena: User, sign_in: SignIn) -> None:
    status, body = give(sign_in(lena), job, answer="decline", reason="  ")
    assert status == 422
    assert "Reason: Give the reason in a sentence." in body
    assert "12 Alder Terrace" in body


@pytest.mark.parametrize("form", [{}, {"answer": "perhaps"}])
def test_no_answer_is_not_found(form: dict[str, str], job: Job, lena: User, sign_in: SignIn) -> None:
    assert give(sign_in(lena), job, **form)[0] == 404


def test_what_waits_for_somebody_else_is_told_as_not_found(job: Job, fleet: Fleet, sign_in: SignIn) -> None:
    status, body = give(sign_in(fleet.technician), job, answer="accept")
    assert status == 404
    assert "Not found." in body
    assert "12 Alder Terrace" not in body


def test_a_role_is_accepted_and_then_the_board_is_seen(fleet: Fleet, lena: User, sign_in: SignIn) -> None:
    row = Grant.objects.create(user=lena, portfolio=fleet.portfolio, role="technician", waits_since=NOW)
    client = sign_in(lena)
    assert "12 Alder Terrace" not in read(client, "/")
    form = {"answer": "accept", "version": version_on_page(client, row.id)}
    assert client.post(f"{AT}roles/{row.id}/", form).status_code == 302
    assert "12 Alder Terrace" in read(client, "/")


def test_nobody_signed_out_answers(job: Job, client: Client) -> None:
    assert client.post(f"{AT}jobs/{job.id}/", {"answer": "accept"})["Location"] == f"/sign-in/?next={AT}"


def test_a_yes_to_a_job_planned_anew_after_the_page_was_drawn_is_refused_and_the_page_shows_it_now(
    fleet: Fleet, lena: User, sign_in: SignIn
) -> None:
    office, client = crew(fleet), sign_in(lena)
    job = office.plan(office.make(("limit", "limit_trip")), to=lena.id)
    read_before = version_on_page(client, job.id)
    office.plan(job, TOMORROW + DAY, to=lena.id)
    status, body = give(client, job, answer="accept", version=read_before)
    assert status == 409
    assert "This was changed after you read it. It is now: 12 Alder Terrace, Wed 14 Jan 2026" in body
    assert version_on_page(client, job.id) != read_before
    assert give(client, job, answer="accept")[0] == 302
