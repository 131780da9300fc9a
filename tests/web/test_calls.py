"""A call comes in: three taps to a job, danger first, what was typed stays, the calls of a house on its page."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import Browser, Page, expect

from fleet.jobs.models import Job, TenantCall
from tests.cast import NOW, Fleet, make_fleet, make_person
from tests.jobs.crew import HOUR, Crew, crew
from tests.web.conftest import SetClock, SignIn, take_session
from tests.web.test_board import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet, clock: SetClock) -> Crew:
    return crew(fleet)


@pytest.fixture
def dana(office: Crew, sign_in: SignIn) -> Client:
    return sign_in(office.dispatcher)


def send(client: Client, office: Crew, **fields: str) -> Any:
    return client.post("/calls/take/", {"building": office.house().id, "kind": "no_heat", **fields})


def test_danger_stands_before_the_choice_of_house_and_before_the_form(office: Crew, dana: Client) -> None:
    for address in ("/calls/new/", f"/calls/new/?building={office.house().id}"):
        body = read(dana, address)
        assert body.index("everyone out now") < body.index('<form class="ask')
        assert "Do not reset anything, do not add water" in body


def test_a_call_makes_a_job_and_leads_to_its_row_in_the_day_book(office: Crew, dana: Client) -> None:
    response = send(dana, office, flat="3B", caller="Mr. Oduya", call_back="212 555 0134", since="2026-01-12 06:30")
    call = TenantCall.objects.get()
    assert response["Location"].endswith(f"&day=2026-01-12#row-{call.job_id}")
    assert (call.flat, call.caller, call.by) == ("3B", "Mr. Oduya", office.dispatcher)
    assert call.since == NOW - 2.5 * HOUR
    assert f'id="row-{call.job_id}"' in read(dana, response["Location"].partition("#")[0])


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": ""}, "What is it about: Choose what the call is about."),
        ({"since": "this morning"}, "Since when: Enter day and time, or leave it empty."),
        ({"since": "2026-01-12 23:00"}, "Since when: This is after the call itself."),
        ({"flat": "x" * 41}, "Flat: At most 40 characters."),
    ],
)
def test_what_is_refused_is_said_and_what_was_typed_stays(
    fields: dict[str, str], words: str, office: Crew, dana: Client
) -> None:
    response = send(dana, office, **{"caller": "Mr. Oduya", "note": "The dog <b>bites</b>.", **fields})
    body = response.content.decode()
    assert (response.status_code, TenantCall.objects.count()) == (422, 0)
    assert words in body
    assert 'value="Mr. Oduya"' in body
    assert "&lt;b&gt;bites" in body


def test_the_calls_of_a_house_are_on_its_page_and_two_flats_are_the_buildings(office: Crew, dana: Client) -> None:
    address = f"/buildings/{office.house().id}/"
    send(dana, office, flat="3B", caller="Mr. Oduya")
    assert "flats call about no heat" not in read(dana, address)
    send(dana, office, flat="4A")
    body = " ".join(read(dana, address).split())
    assert "2 flats call about no heat: that is the building's, not one flat's." in body
    assert "No-heat call, flat 3B, Mr. Oduya" in body
    assert Job.objects.count() == 1


@pytest.mark.parametrize("role", ["technician", "caretaker", "inspector", "office"])
def test_who_called_is_shown_to_who_plans_and_to_nobody_else(
    role: str, office: Crew, dana: Client, sign_in: SignIn
) -> None:
    send(dana, office, caller="Mr. Oduya", call_back="212 555 0134")
    client = sign_in(make_person("pat", office.fleet.portfolio, role))
    assert "Oduya" not in read(client, f"/buildings/{office.house().id}/")
    assert client.get("/calls/new/").status_code == 403
    assert send(client, office).status_code == 404


def test_without_signing_in_no_call_is_taken(office: Crew) -> None:
    assert send(Client(), office)["Location"] == "/sign-in/?next=/calls/new/"
    assert TenantCall.objects.count() == 0


@pytest.fixture
def opened(transactional_db: Any, live_server: Any, browser: Browser) -> Callable[[int], Page]:
    """The page on which the house is chosen, the dispatcher signed in."""
    office = crew(make_fleet())

    def at_page(width: int) -> Page:
        page = browser.new_context(viewport={"width": width, "height": 800}).new_page()
        take_session(page.context, office.dispatcher, live_server.url)
        page.goto(f"{live_server.url}/calls/new/")
        return page

    return at_page


@pytest.mark.parametrize("width", [1280, 390, 320])
def test_three_taps_lead_from_the_call_to_a_job(width: int, opened: Callable[[int], Page]) -> None:
    page = opened(width)
    page.get_by_role("link", name="12 Alder Terrace").click()
    expect(page.locator("#say-no_heat")).to_be_hidden()
    page.get_by_label("No heat").click()
    expect(page.locator("#say-no_heat")).to_contain_text("Do not heat with the oven")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.get_by_role("button", name="Make the job").click()
    expect(page.get_by_role("heading", name="Day book")).to_be_visible()
    assert Job.objects.get().level == "urgent"
