"""The wall of proof glasses, the drawing of one glass, and what a page of thousands costs."""

import re
import time
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from fleet.accounts.models import User
from fleet.board import glasses
from fleet.board.glasses import PENDING, GlassReading
from fleet.portfolio.models import Building
from fleet.rules import VERSION
from fleet.web.shared.glass import GlassDrawing, draw_glass
from tests.cast import DAY, NOW, Fleet, load_cast_catalogue, make_person
from tests.stories import story
from tests.web.conftest import SetClock, SignIn, take_session
from tests.web.looks import PRESENTATIONS
from tests.web.streets import make_street
from tests.web.test_board import Count, lengthened
from tests.web.test_live import violations


def read(client: Client, address: str) -> str:
    """The wall is written piece by piece."""
    return re.sub(r"\s+", " ", client.get(address).getvalue().decode())


ZONE = "America/New_York"
Capture = pytest.CaptureFixture[str]
PROVED, DUE, EXPOSED = (datetime(2026, 1, d, 5, tzinfo=UTC) for d in (1, 21, 31))
MOMENT = timedelta(microseconds=1)


def glass(**changed: Any) -> GlassReading:
    """Thirty days from proof to exposure, to be booked from the twentieth on; a week's work in its middle."""
    dates = {"proved_at": PROVED, "due_at": DUE, "exposed_at": EXPOSED}
    ticks = {"tick_proved_at": PROVED, "tick_due_at": PROVED + 7 * DAY}
    return GlassReading(**{"hazard": "dry_firing", "place": "lower cutoff", **dates, **ticks, **changed})


def drawn(at: datetime, **changed: Any) -> GlassDrawing:
    return draw_glass(glass(**changed), "clear", ZONE, at)


@pytest.mark.parametrize(
    ("at", "level", "days"),
    [
        (PROVED - DAY, 1.0, 31),  # a clock that runs behind
        (PROVED, 1.0, 30),
        (PROVED + 15 * DAY, 0.5, 15),
        (EXPOSED - MOMENT, 0.0, 1),
        (EXPOSED, 0.0, 0),
        (EXPOSED + DAY, 0.0, 0),
    ],
)
def test_the_level_is_the_share_of_the_time_that_is_left(at: datetime, level: float, days: int) -> None:
    found = drawn(at)
    assert (found.level, found.days) == (pytest.approx(level, abs=1e-6), days)


def test_the_line_marks_the_booking_and_the_tick_falls_by_itself() -> None:
    found = drawn(PROVED + 7 * DAY / 2)
    assert found.book == pytest.approx(10 / 30)
    assert (found.tick, drawn(PROVED + 8 * DAY).tick) == (pytest.approx(0.5), 0.0)


@pytest.mark.parametrize(
    ("standing", "at", "said"),
    [
        ("hold", PROVED, "Its proofs have time left: the hold has another cause."),
        ("exposed", EXPOSED - MOMENT, "Its proofs have time left: it is exposed for another cause."),
        ("hold", EXPOSED, ""),  # an empty glass says enough
        ("impaired", PROVED, ""),
    ],
)
def test_a_bad_standing_beside_a_glass_with_days_left_is_explained(standing: str, at: datetime, said: str) -> None:
    assert draw_glass(glass(), standing, ZONE, at).aside == said


def test_a_glass_by_older_rules_is_being_worked_out_and_one_without_an_end_has_no_date() -> None:
    told = [draw_glass(found, "clear", ZONE, PROVED).text for found in (PENDING, None)]
    assert told == ["Days of proof left: being worked out.", "No full proof here ends by time alone."]
    row = ("id", "dry_firing", "lower cutoff", PROVED, DUE, EXPOSED, None, None)
    old, new = f"r{VERSION - 1}.c1.t1", f"r{VERSION}.c1.t1"
    assert [glasses.read_glass(build, row) for build in (None, old)] == [PENDING, PENDING]
    assert glasses.read_glass(new, row) == GlassReading(*row[1:])
    assert glasses.read_glass(new, (None,) * len(row)) is None


@pytest.mark.parametrize("missing", ["proved_at", "due_at", "tick_due_at"])
def test_what_is_not_known_is_not_drawn(missing: str) -> None:
    found = drawn(PROVED + DAY, **{missing: None})
    parts = (found.level > 0, found.book is not None, found.tick is not None)
    assert (
        parts
        == {"proved_at": (False, False, True), "due_at": (True, False, True), "tick_due_at": (True, True, False)}[
            missing
        ]
    )


def test_it_is_said_for_who_listens() -> None:
    assert drawn(PROVED).text == (
        "30 days of proof left: dry firing is exposed from Sat 31 Jan 2026 by the lower cutoff; "
        "book from Wed 21 Jan 2026; weekly work due Thu 08 Jan 2026."
    )
    assert drawn(EXPOSED).text == (
        "No day of proof left: dry firing is exposed since Sat 31 Jan 2026 by the lower cutoff; "
        "weekly work due since Thu 08 Jan 2026."
    )


@pytest.mark.parametrize(("standing", "words"), [("off", "Off"), ("not_surveyed", "Not surveyed")])
def test_a_boiler_without_a_reading_has_a_frame_with_the_word(standing: str, words: str) -> None:
    found = draw_glass(glass(), standing, ZONE, PROVED)
    assert found.inner == f'<use href="#glass-{standing}"/>'
    assert found.text.startswith(words) is True


def test_the_drawing_is_geometry_and_neither_style_nor_colour_nor_per_cent() -> None:
    assert drawn(PROVED + 15 * DAY).svg == (
        '<svg class="glass" viewBox="0 0 20 44" aria-hidden="true"><use href="#glass"/><path d="M7 22h6V40H7z"/>'
        '<path class="at" d="M0 27h4v2H0zM20 37.5v5l-4-2.5z"/></svg>'
    )


@story
def two(fleet: Fleet) -> None:
    """The first boiler clear, the second on hold."""
    for key in ("ALD12 B1", "ALD12 B2"):
        fleet.post(fleet.serviced(NOW - 30 * DAY, key), fleet.flushed(NOW - DAY, key))
    fleet.post(fleet.flushed(NOW, "ALD12 B2", burner_stopped=False))


@pytest.mark.django_db
def test_the_wall_hangs_by_building_with_the_worst_first(two: Fleet, rosa: Client) -> None:
    body = read(rosa, "/wall/")
    assert re.findall(r'<use href="#mark-(\w+)"/>', body) == ["hold", "clear"]
    assert re.findall(r'<h2><a href="/buildings/[^"]*">([^<]*)', body) == ["12 Alder Terrace"]
    assert "Boiler 2: Hold. " in body
    assert "days of proof left, not water" in body
    assert "style=" not in body


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("asked", "count"), [("standing=hold", 1), ("q=alder", 2), ("q=nowhere", 0), ("standing=x", 2)]
)
def test_the_wall_is_narrowed_by_its_address(asked: str, count: int, two: Fleet, rosa: Client) -> None:
    body = read(rosa, f"/wall/?{asked}")
    assert body.count('<li><a href="/boilers/') == count
    assert ("No matching boiler" in body) == (count == 0)


@pytest.mark.django_db
def test_an_empty_wall_and_an_outsiders_explain_themselves(fleet: Fleet, clock: SetClock, sign_in: SignIn) -> None:
    olga = sign_in(fleet.outsider)
    assert "Ask the manager" in read(olga, "/wall/")
    assert "Alder" not in read(olga, "/wall/")
    assert Client().get("/wall/")["Location"] == "/sign-in/?next=/wall/"


@pytest.mark.django_db
def test_names_from_the_register_are_text_and_never_markup(two: Fleet, rosa: Client) -> None:
    Building.objects.update(address='<script>alert("x")</script>')
    assert "<script>alert" not in read(rosa, "/wall/")


# session, user, everything that hangs there, portfolios, grants, what is behind
PAGE = 6


@pytest.mark.django_db
@pytest.mark.parametrize("more", [0, 18])
def test_what_the_wall_costs(more: int, two: Fleet, rosa: Client, django_assert_num_queries: Count) -> None:
    lengthened(two, more)
    with django_assert_num_queries(PAGE):
        read(rosa, "/wall/")


@pytest.fixture
def street(transactional_db: Any) -> Any:
    """Make a street of so many boilers, as of now."""
    load_cast_catalogue()
    return lambda count: make_street(count, timezone.now())


def signed_in(browser: Browser, url: str, user: User, theme: str = "light", width: int = 1280) -> Page:
    context = browser.new_context(color_scheme=theme, viewport={"width": width, "height": 800})
    take_session(context, user, url)
    return context.new_page()


def test_the_wall_is_usable_by_everybody_and_leads_on_by_keyboard(
    street: Any, live_server: Any, browser: Browser
) -> None:
    user = street(60)
    for theme, width in PRESENTATIONS:
        page = signed_in(browser, live_server.url, user, theme, width)
        page.goto(f"{live_server.url}/wall/")
        assert violations(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.context.close()
    page = signed_in(browser, live_server.url, user)
    page.goto(f"{live_server.url}/wall/?standing=clear")
    page.locator(".house li a").first.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Boiler")


FIRST = """
    window.tasks = [];
    new PerformanceObserver((list) => list.getEntries().forEach((e) => window.tasks.push([e.startTime, e.duration])))
      .observe({ type: "longtask", buffered: true });
    new MutationObserver(() => {
      if (!window.first && document.querySelector("main li a"))
        requestAnimationFrame(() => setTimeout(() => { window.first ??= performance.now(); }));
    }).observe(document, { childList: true, subtree: true });
"""
SCROLL = """
    async () => {
      const begun = performance.now(), step = Math.max(600, document.documentElement.scrollHeight / 120);
      for (let y = 0; y < document.documentElement.scrollHeight; y += step) {
        window.scrollTo(0, y);
        await new Promise(requestAnimationFrame);
      }
      await new Promise((done) => setTimeout(done, 300));
      const tasks = window.tasks.filter(([at]) => at >= begun).map(([, took]) => took);
      return { tasks, took: performance.now() - begun };
    }
"""


def measured(page: Page, url: str) -> dict[str, float]:
    """Open a page, wait for all of it, scroll to its end; milliseconds, and bytes."""
    page.add_init_script(FIRST)
    begun = time.perf_counter()
    response = page.goto(url, wait_until="load", timeout=120_000)
    loaded = (time.perf_counter() - begun) * 1000
    assert response is not None
    size = len(response.body())
    page.wait_for_function("window.first !== undefined")
    scrolled = page.evaluate(SCROLL)
    return {
        "first row": page.evaluate("window.first"),
        "answer": page.evaluate("performance.getEntriesByType('navigation')[0].responseEnd"),
        "all loaded": loaded,
        "longest task while scrolling": max(scrolled["tasks"], default=0.0),
        "scrolled": scrolled["took"],
        "bytes": size,
    }


@pytest.mark.parametrize("count", [200, pytest.param(5_000, marks=[pytest.mark.full, pytest.mark.timeout(600)])])
def test_what_a_wall_of_many_glasses_takes(
    count: int, street: Any, live_server: Any, browser: Browser, capsys: Capture
) -> None:
    page = signed_in(browser, live_server.url, street(count))
    found = measured(page, f"{live_server.url}/wall/")
    items = page.evaluate("[...document.querySelectorAll('.house li')].map((e) => e.outerHTML.length)")
    with capsys.disabled():
        told = ", ".join(f"{name} {value:,.0f}" for name, value in found.items())
        print(f"\n{count} glasses: {told}; {sum(items) / len(items):.0f} bytes a glass, at most {max(items)}")
    # Reported, not failing: the first row within 2,000 ms, no task over 200 ms. What must hold is what was measured.
    assert len(items) == count
    assert found["first row"] > 0


@pytest.mark.full
@pytest.mark.timeout(600)
def test_what_a_board_of_ten_thousand_takes(street: Any, live_server: Any, browser: Browser, capsys: Capture) -> None:
    page = signed_in(browser, live_server.url, street(10_000))
    found = measured(page, f"{live_server.url}/")
    with capsys.disabled():
        print("\n10,000 boilers on the board: " + ", ".join(f"{name} {value:,.0f}" for name, value in found.items()))
    assert page.locator("#board li.row").count() > 50


@pytest.mark.django_db
def test_a_grant_of_one_building_hangs_that_one(two: Fleet, clock: SetClock, sign_in: SignIn) -> None:
    pat = make_person("pat", two.portfolio, "caretaker")
    pat.grants.update(building=Building.objects.get())
    assert read(sign_in(pat), "/wall/").count('<li><a href="/boilers/') == 2
