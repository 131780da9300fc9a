"""The day book: what each cell says, one press that plans, what is refused in its row, what it costs; slips."""

import re
from collections.abc import Callable
from html import unescape
from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from fleet.accounts.models import Absence, Qualification
from fleet.jobs.models import Job
from fleet.portfolio.models import Building, Portfolio
from tests.cast import DAY, NOW, Fleet, make_fleet, make_person
from tests.jobs.crew import HOUR, TOMORROW, Crew, crew
from tests.web.conftest import SetClock, SignIn, take_session
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db
UNKNOWN = "0f0e0d0c-0b0a-4908-8706-050403020100"
PAGE = "/jobs/day/?day=2026-01-13"  # the day after NOW, a Tuesday
BUTTON = re.compile(r'<button class="cell[^"]*" name="cell" value="([^"]+)"\s+aria-label="([^"]+)"')


@pytest.fixture
def office(fleet: Fleet, clock: SetClock) -> Crew:
    return crew(fleet)


@pytest.fixture
def job(office: Crew) -> Job:
    return office.make(("limit", "limit_trip"))


@pytest.fixture
def dana(office: Crew, sign_in: SignIn) -> Client:
    return sign_in(office.dispatcher)


def offers(client: Client, address: str = PAGE) -> dict[str, str]:
    """What each button says to the ear, and what it sends."""
    return {unescape(words): token for token, words in BUTTON.findall(read(client, address))}


def press(client: Client, token: str, day: str = "2026-01-13") -> Any:
    return client.post("/jobs/day/plan/", {"cell": token, "day": day})


def test_a_free_cell_says_when_and_one_press_plans_it(office: Crew, job: Job, dana: Client) -> None:
    offered = offers(dana)
    assert set(offered) == {f"12 Alder Terrace, limit trip, {name}: plan for 08:00" for name in ("rosa", "tomas")}
    response = press(dana, offered["12 Alder Terrace, limit trip, rosa: plan for 08:00"])
    job.refresh_from_db()
    assert response.status_code == 302
    assert response["Location"].endswith(f"day=2026-01-13#row-{job.id}")
    assert (job.status, job.technician, job.planned_since) == ("planned", office.rosa, TOMORROW - HOUR)


def test_what_is_planned_is_numbered_in_the_persons_column_and_no_longer_left_out(
    office: Crew, job: Job, dana: Client
) -> None:
    assert "12 Alder Terrace" in read(dana, PAGE).split('id="left-out"')[1]
    office.plan(job)
    body = read(dana, PAGE)
    assert "[1] 09:00" in body
    assert "Every job that waited is planned." in body
    assert "ends 09:50, 460 min spare" in " ".join(body.split())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("skill", "not qualified: technician"),
        ("access", "no access that day"),
        ("away", "off"),
        ("busy", "no room left"),
    ],
)
def test_a_cell_that_is_not_free_says_why(change: str, words: str, office: Crew, job: Job, dana: Client) -> None:
    if change == "skill":
        Qualification.objects.filter(user=office.rosa).update(until=NOW)
    if change == "access":
        Building.objects.update(access_hours="wed-fri 08:00-17:00")
    if change == "away":
        values = {"since": NOW, "until": None, "reason": "sick", "recorded_at": NOW, "recorded_by": office.dispatcher}
        Absence.objects.create(portfolio=office.fleet.portfolio, user=office.rosa, **values)
    if change == "busy":
        other = office.make(("control", "operating_control_trip"))
        Job.objects.filter(id=other.id).update(minutes=510)
        office.plan(other, TOMORROW - HOUR)
    row = read(dana, PAGE).split(f'id="row-{job.id}"')[1].split("</tr>")[0]
    assert f'<span class="why">{words}</span>' in row


def test_two_jobs_of_a_house_are_offered_as_one_trip(office: Crew, job: Job, dana: Client) -> None:
    second = office.make(("control", "operating_control_trip"))
    body = read(dana, PAGE)
    assert "12 Alder Terrace: 2 jobs as one trip" in " ".join(body.split())
    token = next(token for token in offers(dana).values() if "," in token)
    assert press(dana, token).status_code == 302
    planned = list(Job.objects.filter(id__in=[job.id, second.id]).order_by("planned_since"))
    assert planned[0].planned_until == planned[1].planned_since
    assert len({row.technician_id for row in planned}) == 1


def test_what_somebody_else_took_meanwhile_is_said_in_its_row(office: Crew, job: Job, dana: Client) -> None:
    token = offers(dana)["12 Alder Terrace, limit trip, rosa: plan for 08:00"]
    office.plan(office.make(("control", "operating_control_trip")), TOMORROW - HOUR)
    response = press(dana, token)
    row = response.content.decode().split(f'id="row-{job.id}"')[1].split("</tr>")[0]
    assert response.status_code == 409
    assert "This person is planned for another job at that time." in row
    job.refresh_from_db()
    assert job.status == "to_plan"


def test_what_is_planned_may_be_given_to_another_person(office: Crew, job: Job, dana: Client) -> None:
    office.plan(job)
    assert press(dana, offers(dana)["12 Alder Terrace, limit trip, tomas: plan for 08:00"]).status_code == 302
    job.refresh_from_db()
    assert job.technician == office.second


def test_what_is_under_way_is_not_planned_anew(office: Crew, job: Job, dana: Client, clock: SetClock) -> None:
    office.started(job)
    clock(TOMORROW + HOUR)
    row = read(dana, PAGE).split(f'id="row-{job.id}"')[1].split("</tr>")[0]
    assert '<span class="why">under way</span>' in row
    assert "<button" not in row


@pytest.mark.parametrize("token", ["", "x", "a:1|b||c", f"{UNKNOWN}:1|{UNKNOWN}||2026-01-13T08:00:00"])
def test_what_no_button_sends_is_not_found(token: str, office: Crew, dana: Client) -> None:
    assert press(dana, token).status_code == 404


def test_a_job_of_another_portfolio_is_not_found(office: Crew, job: Job, sign_in: SignIn) -> None:
    other = Portfolio.objects.create(ref="ELSE", name="Elsewhere Homes")
    client = sign_in(make_person("olive", other, "dispatcher"))
    token = f"{job.id}:{job.version}|{office.rosa.id}||{TOMORROW.isoformat()}"
    assert press(client, token).status_code == 404
    assert client.get(f"/jobs/day/?portfolio={office.fleet.portfolio.id}").status_code == 404


@pytest.mark.parametrize(("role", "status"), [("dispatcher", 200), ("manager", 200), ("technician", 403)])
def test_the_day_book_is_for_who_plans(role: str, status: int, office: Crew, job: Job, sign_in: SignIn) -> None:
    client = sign_in(make_person("pat", office.fleet.portfolio, role))
    assert client.get(PAGE).status_code == status
    assert client.get(f"/jobs/day/slips/{PAGE.removeprefix('/jobs/day/')}").status_code == status


def test_a_stop_of_another_portfolio_takes_the_time_and_says_nothing_of_the_place(
    office: Crew, job: Job, dana: Client
) -> None:
    other = Portfolio.objects.create(ref="ELSE", name="Elsewhere Homes")
    house = Building.objects.create(portfolio=other, ref="ELM1", address="1 Elm Walk", zone="America/New_York")
    make_person("olive", other, "dispatcher")
    values = {"minutes": 60, "level": "routine", "status": "accepted", "status_since": NOW, "judged_at": NOW}
    times = {"planned_since": TOMORROW - HOUR, "planned_until": TOMORROW, "ends_at": TOMORROW + DAY}
    away = Job.objects.create(
        portfolio=other, building=house, technician=office.rosa, created_at=NOW, **values, **times
    )
    away.acts.create(
        portfolio=other, kind="plan", acted_on=1, at=NOW, by=office.rosa, technician=office.rosa, since=TOMORROW - HOUR
    )
    body = read(dana, PAGE)
    assert "09:20 +20 min, travel not known" in body
    assert "Elm" not in body


def test_left_out_says_from_when_a_boiler_is_bare(office: Crew, dana: Client) -> None:
    office.fleet.post(office.fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    office.make(("limit", "limit_trip"))
    left_out = " ".join(read(dana, PAGE).split('id="left-out"')[1].split())
    assert re.search(r"12 Alder Terrace, limit trip, bare from \w{3} \d\d \w{3} 202\d", left_out)


# session, user; portfolios, zone; jobs; items, boilers, positions; acts, who, for whom, with whom; roles, skills,
# people, absences, stops, their acts, memberships; glasses; release; who may record absences
QUERIES = 22


@pytest.mark.parametrize("more", [0, 3])
def test_what_the_page_costs(more: int, office: Crew, job: Job, dana: Client, django_assert_num_queries: Count) -> None:
    office.plan(job)
    office.plan(office.make(("upper", "slow_drain")), TOMORROW + HOUR)
    work = (("control", "operating_control_trip"), ("lower", "slow_drain"), ("valve", "lever_lift"))
    for n, (place, code) in enumerate(work[:more], start=1):
        office.plan(office.make((place, code)), TOMORROW + (1 + 2 * n) * HOUR)
        make_person(f"worker.{place}", office.fleet.portfolio, "technician", "technician")
    with django_assert_num_queries(QUERIES):
        dana.get(PAGE)


def test_one_persons_day_alone_is_a_tap_away(office: Crew, job: Job, dana: Client) -> None:
    offered = offers(dana, f"{PAGE}&person={office.rosa.id}")
    assert [words for words in offered if "tomas" in words] == []
    assert len(offered) == 1


def test_the_slip_of_a_person_has_the_stops_in_order_and_what_to_load(office: Crew, job: Job, dana: Client) -> None:
    siphon = office.make(("control", "operating_control_trip"))
    office.plan(job, TOMORROW + HOUR)
    office.plan(siphon, TOMORROW - HOUR)
    body = " ".join(read(dana, f"/jobs/day/slips/?day=2026-01-13&person={office.rosa.id}").split())
    assert body.index("08:00 to") < body.index("10:00 to 10:50, 12 Alder Terrace")
    assert "Load:" in body


def test_a_day_without_jobs_says_so(office: Crew, dana: Client) -> None:
    assert "No job waits, and none is planned for this day" in read(dana, PAGE)
    assert "Nobody has a job on this day" in read(dana, "/jobs/day/slips/")


@pytest.fixture
def opened(transactional_db: Any, live_server: Any, browser: Browser) -> Callable[..., Page]:
    """The day book of tomorrow in a browser, with three jobs of two houses; the dispatcher signed in."""
    office = crew(make_fleet("ALD12", "QUA48"))
    at = timezone.now()
    office.make(("limit", "limit_trip"), at=at)
    office.make(("upper", "slow_drain"), at=at)
    office.make(("limit", "limit_trip"), key="QUA48 B1", at=at)
    day = (at + DAY).date().isoformat()

    def at_page(width: int = 1280, theme: Any = "light") -> Page:
        context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=theme)
        page = context.new_page()
        take_session(page.context, office.dispatcher, live_server.url)
        page.goto(f"{live_server.url}/jobs/day/?day={day}")
        return page

    return at_page


def test_every_job_is_planned_with_enter_and_arrow_keys_move_between_cells(opened: Callable[..., Page]) -> None:
    page = opened()
    cells = page.locator("button.cell")
    cells.first.focus()
    page.keyboard.press("ArrowRight")
    right = page.evaluate("document.activeElement.closest('td').cellIndex")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowLeft")
    assert right == 3
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == cells.first.get_attribute("aria-label")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    expect(page.locator("tr:not(.planned) button.cell:focus")).to_have_count(1)  # the next house that waits
    with page.expect_navigation():  # one press plans the two jobs of one house
        page.keyboard.press("Enter")
    assert set(Job.objects.values_list("status", flat=True)) == {"planned"}


def test_a_persons_slip_prints_on_one_upright_sheet(opened: Callable[..., Page]) -> None:
    page = opened()
    for _ in range(2):
        with page.expect_navigation():
            page.locator("tr:not(.planned) button.cell").first.click()
    page.goto(page.url.split("#")[0].replace("/jobs/day/", "/jobs/day/slips/"))
    sheets = PdfReader(BytesIO(page.pdf(format="Letter"))).pages
    assert page.locator(".day-slip").count() == len(sheets) > 0
    assert all(sheet.mediabox.height > sheet.mediabox.width for sheet in sheets)


@pytest.mark.parametrize("width", [1280, 390, 320])
def test_the_page_never_scrolls_sideways(width: int, opened: Callable[..., Page]) -> None:
    page = opened(width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
