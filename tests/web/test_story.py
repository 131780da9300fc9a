"""In a real browser, through the real pipeline: a hold from the basement to the board, to a job, and back to normal."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Locator, Page, expect

from fleet.accounts import keys
from fleet.accounts.models import User
from fleet.management.demo.visit_entries import GOOD_FLUSH, LEFT_WELL
from tests.cast import DAY, Fleet, make_fleet, make_person
from tests.jobs.crew import HOUR, crew
from tests.web.conftest import take_session
from tests.web.test_live import refresh

WHY = "kept firing"


@dataclass(frozen=True)
class Town:
    """The boiler, its people in their browsers, and the technician's device."""

    fleet: Fleet
    url: str
    key: str
    enter: Callable[[User], Page]

    def post(self, page: Page, kind: str, at: datetime, entries: list[dict[str, Any]], **more: Any) -> str:
        """What the technician's device sends; the visit's id."""
        bench, id_ = self.fleet.bench(), str(uuid4())
        placed = [{**entry, "position": str(bench.places[entry["position"]])} for entry in entries]
        people = [{"user": str(self.fleet.technician.id)}]
        body = {"id": id_, "boiler": str(bench.boiler.id), "kind": kind, "performed_at": at.isoformat()}
        sent = {**body, "people": people, "entries": placed, **more}
        headers = {"Authorization": f"Bearer {self.key}"}
        answer = page.request.post(f"{self.url}/api/v1/visits/", data=sent, headers=headers)
        assert answer.status == 201, answer.text()
        return id_


@pytest.fixture
def town(transactional_db: Any, live_server: Any, browser: Browser) -> Iterator[Town]:
    """Two boilers that are clear; what pages complain of on their console fails the test."""
    fleet, now, complaints = make_fleet(), timezone.now(), []
    for key in ("ALD12 B1", "ALD12 B2"):
        fleet.post(fleet.serviced(now - 30 * DAY, key), fleet.flushed(now - DAY, key), at=now)

    def enter(user: User) -> Page:
        page = browser.new_context().new_page()
        take_session(page.context, user, live_server.url)
        page.set_default_timeout(10_000)
        page.clock.install()
        page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(live_server.url)
        return page

    yield Town(
        fleet, live_server.url, keys.make_unscoped_key(user=fleet.technician, name="phone", expires_at=now + DAY), enter
    )
    assert complaints == []


def row(page: Page) -> Locator:
    return page.locator("li.row", has_text="Boiler 1")


def test_a_hold_goes_from_the_basement_to_the_board_to_a_job_and_back_to_normal(town: Town) -> None:
    office = crew(town.fleet)
    rosa = town.enter(office.rosa)
    mona, dana = town.enter(make_person("mona", town.fleet.portfolio, "manager")), town.enter(office.dispatcher)
    expect(row(mona).locator(".standing")).to_have_text("Clear")
    visit = _a_failed_flush_is_posted(town, rosa)
    _the_technician_reads_the_visit(rosa, f"{town.url}/visits/{visit}/")
    _the_manager_sees_why(mona, town.url, visit)
    _the_dispatcher_plans(dana)
    _the_manager_decides(mona, town.url)
    _the_technician_does_the_job(town, rosa)
    _all_is_normal_again(mona, dana, town.url)


def _a_failed_flush_is_posted(town: Town, page: Page) -> str:
    readings = {**GOOD_FLUSH, "burner_stopped": False}
    entry = {"test": "flush", "position": "upper", "outcome": "fail", "readings": readings}
    return town.post(page, "routine_check", timezone.now() - HOUR, [entry])


def _the_technician_reads_the_visit(page: Page, visit: str) -> None:
    page.goto(visit)
    expect(page.get_by_role("main")).to_contain_text(WHY)
    link = page.get_by_role("link", name="PDF").first
    told = page.request.get(page.url.split("/visits/")[0] + str(link.get_attribute("href")))
    assert (told.status, told.body()[:5]) == (200, b"%PDF-")


def _the_manager_sees_why(page: Page, url: str, visit: str) -> None:
    refresh(page)
    expect(row(page).locator(".standing")).to_have_text("Hold")
    expect(row(page).locator(".row-why")).to_contain_text(WHY)
    row(page).get_by_role("link", name="Boiler 1").first.click()
    page.locator(f'main a[href*="/visits/{visit}/#entry-1"]').first.click()
    expect(page.locator("#entry-1")).to_contain_text("Flush")
    expect(page.locator("#entry-1")).to_contain_text("Source: S23")
    page.goto(f"{url}/alerts/?condition=hold")
    page.get_by_role("button", name="Acknowledge").first.click()
    expect(page.locator(".feed .what").first).to_have_text("Acknowledged")


def _the_manager_decides(page: Page, url: str) -> None:
    page.goto(f"{url}/alerts/?condition=hold")
    page.locator(".feed summary", has_text="Shelve").first.click()
    page.get_by_label("Why").first.fill("The boiler is off by hand; Rosa comes tomorrow.")
    page.get_by_label("Until").first.fill((timezone.now() + 2 * DAY).strftime("%Y-%m-%dT09:00"))
    page.get_by_role("button", name="Shelve").first.click()
    expect(page.locator(".feed .what").first).to_have_text("Shelved")
    page.goto(f"{url}/deficiencies/")
    page.get_by_role("link", name="kept firing").first.click()
    page.locator("#assigned summary").click()
    page.locator("#assigned select").first.select_option(label="rosa")
    page.get_by_label("To be done by").fill((timezone.now() + 2 * DAY).strftime("%Y-%m-%dT09:00"))
    page.keyboard.press("Enter")
    expect(page.locator(".life")).to_contain_text("To rosa.")


def _the_dispatcher_plans(page: Page) -> None:
    refresh(page)
    row(page).get_by_role("link", name="make a job").click()
    page.get_by_role("checkbox", name="Boiler 2").first.uncheck()
    page.get_by_role("button", name="Make this job").first.click()
    job = page.locator(".job").first
    job.locator("summary", has_text="Plan").click()
    job.get_by_label("Technician").select_option(label="rosa")
    if job.get_by_label("Second person").count():
        job.get_by_label("Second person").select_option(label="tomas")
    job.get_by_label("Begins").fill(_later_today())
    job.get_by_role("button", name="Plan", exact=True).click()
    expect(page.locator(".who", has_text="rosa").first).to_be_visible()
    expect(page.locator(".job").first).to_contain_text("Planned")


def _later_today() -> str:
    """In the building's zone: a job is started on the day it is planned for."""
    at = timezone.now().astimezone(ZoneInfo("America/New_York"))
    return min(at + HOUR / 12, at.replace(hour=23, minute=59)).strftime("%Y-%m-%dT%H:%M")


def _the_technician_does_the_job(town: Town, page: Page) -> None:
    page.goto(f"{town.url}/jobs/")
    page.get_by_role("button", name="Accept").first.click()
    expect(page.locator(".job").first).to_contain_text("Accepted")
    page.get_by_role("button", name="Start").first.click()
    expect(page.locator(".job").first).to_contain_text("Started")
    drained = {"burner_firing": True, "burner_stopped": True, "trip_in": 2.5}
    proof = [
        {"action": "open_clean", "position": "upper"},
        {"action": "open_clean", "position": "chamber"},
        {"test": "slow_drain", "position": "upper", "outcome": "pass", "readings": drained},
        {"test": "flush", "position": "upper", "outcome": "pass", "readings": dict(GOOD_FLUSH)},
    ]
    town.post(page, "follow_up", timezone.now(), proof, leaving_checks=dict(LEFT_WELL), left_as="on_call")


def _all_is_normal_again(manager: Page, dispatcher: Page, url: str) -> None:
    manager.goto(url)
    expect(row(manager).locator(".standing")).to_have_text("Clear")
    manager.goto(f"{url}/alerts/?condition=hold")
    expect(manager.locator(".feed .what").first).to_have_text("Returned to normal")
    dispatcher.goto(f"{url}/jobs/")
    expect(dispatcher.locator(".job").first).to_contain_text("Proven")
