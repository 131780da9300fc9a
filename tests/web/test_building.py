"""One building: what stands on its page, for whom, and what it costs."""

import re
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, expect

from fleet.accounts.models import Grant
from fleet.deficiencies.models import Deficiency
from fleet.portfolio.models import Paper
from tests.cast import DAY, LONG_AGO, NOW, Fleet, make_fleet, make_person
from tests.jobs.crew import Crew, crew, held
from tests.web.conftest import SetClock, SignIn, take_session
from tests.web.test_board import Count, lengthened, read

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet, clock: SetClock) -> Crew:
    return crew(fleet)


@pytest.fixture
def mona(office: Crew, sign_in: SignIn) -> Client:
    return sign_in(make_person("mona", office.fleet.portfolio, "manager"))


def address(fleet: Fleet) -> str:
    return f"/buildings/{fleet.bench().boiler.building_id}/"


def part(body: str, heading: str) -> str:
    return body.split(f'aria-labelledby="{heading}"')[1].split("</section>")[0]


def test_its_boilers_stand_there_the_worst_first_with_their_glasses(office: Crew, mona: Client) -> None:
    fleet = office.fleet
    fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.serviced(NOW - 30 * DAY, "ALD12 B2"))
    fleet.post(fleet.flushed(NOW, "ALD12 B2", burner_stopped=False))
    told = part(read(mona, address(fleet)), "boilers")
    assert re.findall(r'/">(Boiler \d)</a>', told) == ["Boiler 2", "Boiler 1"]
    assert told.count('class="glass"') == 3  # the legend's beside theirs
    assert "days of proof left: dry firing is exposed from" in told


def test_what_is_open_and_who_comes_when_is_told(office: Crew, mona: Client) -> None:
    deficiency = held(office.fleet)
    office.plan(office.make(deficiencies=[deficiency.id]))
    body = read(mona, address(office.fleet))
    assert f'href="/deficiencies/{deficiency.id}/">{deficiency.sentence}' in part(body, "open")
    told = part(body, "jobs")
    for words in ("Planned, Tue 13 Jan 2026, 09:00 EST, rosa", "1 of 1 still open", "Make a job"):
        assert words in told


def test_a_deficiency_that_was_closed_is_not_open(office: Crew, mona: Client) -> None:
    row = held(office.fleet)
    office.fleet.post(office.fleet.repaired(NOW))
    assert row.sentence not in part(read(mona, address(office.fleet)), "open")


def test_the_next_dates_come_in_their_order(office: Crew, mona: Client) -> None:
    office.fleet.post(office.fleet.serviced(NOW - 30 * DAY), office.fleet.flushed(NOW - DAY))
    told = part(read(mona, address(office.fleet)), "dates")
    assert re.findall(r"<li>.*?</li>", told)[0].count("Sun 18 Jan 2026") == 1
    assert "Due</span>: Boiler 1, upper cutoff" in told


@pytest.mark.parametrize(("last", "over"), [(date(2026, 1, 11), True), (date(2026, 1, 12), False)])
def test_a_paper_is_over_after_its_last_day(last: date, over: bool, office: Crew, mona: Client) -> None:
    row = {"portfolio": office.fleet.portfolio, "building": office.house(), "since": LONG_AGO, "posted_at": LONG_AGO}
    Paper.objects.create(kind="certificate", name="Certificate", until=last, **row)
    told = part(read(mona, address(office.fleet)), "papers")
    assert f"last day {last:%a %d %b %Y}" in told
    assert ('class="over"' in told) == over


def test_contacts_are_who_decides_and_who_comes_or_was_there_each_with_their_role(office: Crew, mona: Client) -> None:
    fleet = office.fleet
    fleet.technician.telephone = "+1 (212) 555-0102"
    fleet.technician.save()
    fleet.post(fleet.serviced(NOW - 30 * DAY))
    office.plan(office.make(("limit", "limit_trip")), to=office.second.id)
    told = re.sub("<[^>]+>", "", (body := part(read(mona, address(fleet)), "contacts")))
    assert re.findall(r"(mona|tomas|rosa|dana|bram): (\w+)", told) == [
        ("mona", "manager"),
        ("tomas", "technician"),
        ("rosa", "technician"),
    ]
    assert (told.count("comes Tue 13 Jan 2026"), told.count("was here Sat 13 Dec 2025")) == (1, 1)
    assert 'href="tel:+12125550102"' in body
    assert told.count("no number on record") == 2


def test_a_contact_of_the_house_alone_is_named_while_the_role_lasts(office: Crew, mona: Client) -> None:
    Grant.objects.filter(user=office.fleet.caretaker).update(building=office.house())
    assert "<strong>bram</strong>: caretaker here" in part(read(mona, address(office.fleet)), "contacts")
    Grant.objects.filter(user=office.fleet.caretaker).update(until=NOW)
    assert "bram" not in part(read(mona, address(office.fleet)), "contacts")


def test_recent_visits_are_for_who_may_read_them(office: Crew, mona: Client, sign_in: SignIn) -> None:
    office.fleet.post(office.fleet.flushed(NOW - DAY))
    assert "Routine check, Sun 11 Jan 2026" in part(read(mona, address(office.fleet)), "visits")
    desk = sign_in(make_person("ines", office.fleet.portfolio, "office"))
    body = read(desk, address(office.fleet))
    assert "/visits/" not in body
    assert "was here" not in body


@pytest.mark.parametrize(("role", "led"), [("manager", True), ("office", True), ("technician", False)])
def test_who_may_change_the_register_is_led_there(role: str, led: bool, office: Crew, sign_in: SignIn) -> None:
    client = sign_in(make_person("pat", office.fleet.portfolio, role))
    assert ("Change what is on record" in read(client, address(office.fleet))) == led


def test_an_empty_building_says_what_is_not_there(office: Crew, sign_in: SignIn) -> None:
    body = read(sign_in(office.fleet.caretaker), address(office.fleet))
    for words in ("None is open that you may see.", "No paper is on record.", "None yet.", "Not surveyed"):
        assert words in body


def test_a_building_that_one_may_not_see_is_unknown(office: Crew, sign_in: SignIn) -> None:
    olga = sign_in(office.fleet.outsider)
    assert (olga.get(address(office.fleet)).status_code, olga.get(f"/buildings/{uuid4()}/").status_code) == (404, 404)


def test_without_signing_in_it_leads_to_the_sign_in_page(office: Crew) -> None:
    assert Client().get(address(office.fleet))["Location"] == f"/sign-in/?next={address(office.fleet)}"


# session, user, boilers; board (two), glasses, alerts; steps ahead, papers; open deficiencies, episodes, acts, jobs
# that ask for them; who may read visits, visits, their people (two), answers; jobs; open calls; who may make one, who
# may change the register; who was there lately, roles
PAGE = 25


@pytest.mark.parametrize("more", [0, 20])
def test_what_the_page_costs(more: int, office: Crew, mona: Client, django_assert_num_queries: Count) -> None:
    held(office.fleet)
    lengthened(office.fleet, more)
    with django_assert_num_queries(PAGE):
        mona.get(address(office.fleet))


def test_the_page_leads_on_by_keyboard(transactional_db: Any, live_server: Any, browser: Browser) -> None:
    fleet, at = make_fleet(), timezone.now()
    fleet.post(fleet.serviced(at - 200 * DAY), fleet.flushed(at - DAY, burner_stopped=False), at=at)
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    take_session(page.context, make_person("mona", fleet.portfolio, "manager"), live_server.url)
    page.goto(live_server.url + address(fleet))
    row = Deficiency.objects.get(rule="flush_keeps_firing")
    page.get_by_role("link", name=row.sentence).first.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=row.sentence, level=1)).to_be_visible()
