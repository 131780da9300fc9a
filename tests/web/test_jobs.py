"""The page of jobs: by day and technician, its forms for who may, usable by anybody, and what it costs."""

import re
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, expect

from fleet.deficiencies.models import Deficiency
from fleet.jobs.models import Job
from fleet.web.shared import pages
from tests.cast import DAY, NOW, Fleet, make_fleet, make_person
from tests.jobs.crew import HOUR, Crew, crew, held
from tests.web.conftest import SetClock, SignIn, take_session
from tests.web.markup import markup_of
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(fleet: Fleet, clock: SetClock, monkeypatch: pytest.MonkeyPatch) -> Crew:
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW))
    return crew(fleet)


@pytest.fixture
def job(office: Crew) -> Job:
    return office.make(("limit", "limit_trip"), note="The key is with the caretaker.")


@pytest.fixture
def dana(office: Crew, sign_in: SignIn) -> Client:
    return sign_in(office.dispatcher)


def send(client: Client, job: Job, kind: str, **fields: Any) -> Any:
    job.refresh_from_db()
    return client.post(f"/jobs/{job.id}/{kind}/", {"version": job.version, **fields})


def plan(client: Client, office: Crew, job: Job, start: str = "2026-01-13T09:00") -> Any:
    return send(client, job, "plan", to=office.rosa.id, start=start)


def section(body: str, heading: str) -> str:
    return body.split(f'aria-labelledby="{heading}"')[1].split("</section>")[0]


def test_what_is_to_be_planned_says_what_where_and_with_what(office: Crew, job: Job, dana: Client) -> None:
    told = section(read(dana, "/jobs/"), "waiting")
    for words in ("12 Alder Terrace", "Limit trip of the high limit", "50 minutes", "any time", "The key is with"):
        assert words in told


def test_of_what_is_to_be_planned_the_worst_is_first_and_what_is_late_is_counted(
    office: Crew, job: Job, dana: Client
) -> None:
    Job.objects.filter(id=job.id).update(level="routine")
    late = Job.objects.get(id=job.id)
    late.id, late.level, late.status, late.created_at = uuid4(), "hold", "missed", NOW
    late.save(force_insert=True)
    told = section(read(dana, "/jobs/"), "waiting")
    assert told.index(f"job-{late.id}") < told.index(f"job-{job.id}")
    assert "2, the worst first; <strong>1 should have been done already</strong>" in told
    assert re.findall(r'class="(job[^"]*)"', told) == ["job late", "job"]


def test_a_planned_job_stands_under_its_day_and_its_technician(office: Crew, job: Job, dana: Client) -> None:
    response = plan(dana, office, job)
    assert (response.status_code, response["Location"]) == (302, f"/jobs/#job-{job.id}")
    told = section(read(dana, "/jobs/"), "day-2026-01-13")
    assert 'class="who">rosa<' in told
    assert "Tue 13 Jan 2026, 09:00 to 09:50 EST" in told


@pytest.mark.parametrize(
    ("who", "offered"),
    [
        ("dispatcher", {"plan", "withdraw", "cancel"}),
        ("rosa", {"accept", "decline"}),
        ("manager", {"plan", "withdraw", "cancel"}),
    ],
)
def test_forms_are_for_who_may(who: str, offered: set[str], office: Crew, job: Job, sign_in: SignIn) -> None:
    office.plan(job)
    users = {"rosa": office.rosa, "dispatcher": office.dispatcher}
    user = users.get(who) or make_person("ines", office.fleet.portfolio, "manager")
    body = read(sign_in(user), "/jobs/")
    assert set(re.findall(rf'action="/jobs/{job.id}/(\w+)/"', body)) == offered


def test_accepted_and_declined_on_the_page(office: Crew, job: Job, rosa: Client) -> None:
    office.plan(job)
    assert send(rosa, job, "accept").status_code == 302
    assert send(rosa, job, "decline", reason="Van <b>broken</b>.").status_code == 302
    job.refresh_from_db()
    assert (job.status, job.acts.order_by("-at", "-acted_on")[0].reason) == ("declined", "Van <b>broken</b>.")
    assert rosa.get("/jobs/").content.count(b"<b>broken") == 0


@pytest.mark.parametrize(
    ("start", "said"),
    [
        ("2026-01-11T09:00", "Begins: This is before the server"),
        ("soon", "Begins: Enter the date and time when it begins."),
        ("2026-03-08T02:30", "Begins: Enter the date and time when it begins."),  # the hour the clock leaves out
    ],
)
def test_what_is_refused_is_said_beside_the_job(start: str, said: str, office: Crew, job: Job, dana: Client) -> None:
    response = plan(dana, office, job, start)
    own = markup_of(response).split(f'id="job-{job.id}"')[1].split("</main>")[0]
    assert response.status_code == 422
    assert said in own
    assert 'role="alert"' in own


def test_what_was_typed_into_a_refused_plan_stays(office: Crew, job: Job, dana: Client) -> None:
    body = markup_of(plan(dana, office, job, "2026-01-11T09:00"))
    assert 'value="2026-01-11T09:00"' in body
    assert f'<option value="{office.rosa.id}" selected>' in body
    office.plan(job)
    body = markup_of(dana.post(f"/jobs/{job.id}/cancel/", {"version": 1, "reason": "Not <b>needed</b>."}))
    assert 'value="Not &lt;b&gt;needed&lt;/b&gt;."' in body


def test_two_who_looked_at_the_same_page_do_not_overwrite_each_other(office: Crew, job: Job, dana: Client) -> None:
    office.plan(job)
    response = dana.post(f"/jobs/{job.id}/cancel/", {"version": 1, "reason": "Not needed."})
    assert response.status_code == 412
    assert "Somebody changed this in the meantime" in response.content.decode()


@pytest.mark.parametrize("who", ["outsider", "technician", "caretaker"])
def test_nobody_plans_who_may_not(who: str, office: Crew, job: Job, sign_in: SignIn) -> None:
    response = plan(sign_in(getattr(office.fleet, who)), office, job)
    job.refresh_from_db()
    assert (response.status_code, job.status) == (404, "to_plan")


def test_a_technician_does_not_plan_ones_own(office: Crew, job: Job, rosa: Client) -> None:
    office.plan(job)
    assert plan(rosa, office, job, "2026-01-14T09:00").status_code == 403


def test_a_form_without_its_mark_is_refused(office: Crew, job: Job) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(office.dispatcher)
    assert plan(strict, office, job).status_code == 403


def test_without_signing_in_nothing_is_done(office: Crew, job: Job) -> None:
    assert plan(Client(), office, job)["Location"] == "/sign-in/?next=/jobs/"
    assert Client().get("/jobs/").status_code == 302


def test_what_is_settled_leads_to_the_entry_that_closed_it_or_the_visit_that_passed_it(
    office: Crew, dana: Client, django_assert_num_queries: Count
) -> None:
    held(office.fleet)
    other = office.fleet.flushed(NOW - HOUR, "ALD12 B2", burner_stopped=False)
    office.fleet.post(office.fleet.serviced(NOW - 30 * DAY, "ALD12 B2"), other)
    rows = list(Deficiency.objects.filter(rule="flush_keeps_firing"))
    office.make(deficiencies=[row.id for row in rows])
    office.make(("upper", "slow_drain"))
    assert "Its proof" not in read(dana, "/jobs/")
    at = NOW + HOUR
    office.fleet.post(office.fleet.repaired(at), office.fleet.repaired(at, "ALD12 B2"), at=at)
    with django_assert_num_queries(PAGE - 2 + 1):  # nobody was or is to be sent; the lines that closed something
        told = read(dana, "/jobs/")
    for row in Deficiency.objects.filter(id__in=[row.id for row in rows]):
        assert row.closed_by is not None
        assert f'href="/visits/{row.closed_by.visit_id}/#entry-{row.closed_by.number + 1}">Its proof' in told
    assert re.search(r'Passed [^<]+</span> <a href="/visits/[^"#]+">Its proof', told)


def test_an_empty_page_explains_itself(office: Crew, dana: Client) -> None:
    assert "No job is open" in read(dana, "/jobs/")


# session, user; jobs; items, boilers, positions; acts, who, for whom; grants; who can be sent
PAGE = 11


@pytest.mark.parametrize("more", [0, 2])
def test_what_the_page_costs(more: int, office: Crew, job: Job, dana: Client, django_assert_num_queries: Count) -> None:
    office.plan(job)
    for place, code in (("valve", "lever_lift"), ("control", "operating_control_trip"))[:more]:
        office.make((place, code))
    with django_assert_num_queries(PAGE):
        dana.get("/jobs/")


@pytest.fixture
def opened(transactional_db: Any, live_server: Any, browser: Browser) -> Callable[..., Any]:
    """The page in a browser, with a job to plan for two and one that is planned; the dispatcher signed in."""
    office = crew(make_fleet())
    at = timezone.now()
    office.plan(office.make(("limit", "limit_trip"), at=at), at + DAY, at=at)
    office.make(("upper", "slow_drain"), at=at)

    def at_page(theme: str = "light", width: int = 1280) -> Any:
        page = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=theme).new_page()
        take_session(page.context, office.dispatcher, live_server.url)
        page.goto(f"{live_server.url}/jobs/")
        expect(page.get_by_role("heading", name="Jobs", exact=True)).to_be_visible()
        return page

    return at_page


def test_a_job_is_planned_by_keyboard_alone(opened: Callable[..., Any]) -> None:
    page = opened()
    slip = page.locator(".job", has_text="Slow drain")
    slip.locator("summary").first.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("rosa")
    page.keyboard.press("Tab")
    page.keyboard.type("tomas")
    start = timezone.now() + 3 * DAY
    slip.get_by_label("Begins").fill(start.strftime("%Y-%m-%dT09:00"))
    slip.get_by_role("button", name="Plan").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".job", has_text="Slow drain")).to_contain_text("Planned")
    assert Job.objects.get(people=2).status == "planned"
