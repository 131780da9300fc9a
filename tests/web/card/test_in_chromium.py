"""The card in a real browser, with and without scripts: taps of a flush, acts at once, pictures, every look."""

import io
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from fleet.board import queries as board
from fleet.cards.models import CardPost
from fleet.files.models import KeptFile
from fleet.visits.models import Visit
from tests import kept
from tests.cards.board import PIN, give_pins, hang_card
from tests.cast import DAY, Fleet, make_fleet
from tests.web.boiler_room import fit
from tests.web.sheet.phone import close_quietly

SCREEN = {"width": 360, "height": 740}
GOOD = ["FIRING", "WATER RUNS", "STOPPED", "AT ONCE"]
MIN_HEIGHT, MIN_GAP = 72, 16  # CSS px, for wet gloves
OUTSIDE = """() => [...document.querySelectorAll('body *')]
    .filter((e) => e.getClientRects().length && e.getBoundingClientRect().right > innerWidth + 0.5)
    .map((e) => e.outerHTML.slice(0, 80))"""
ANSWERS = """() => [...document.querySelectorAll('.answer')].filter((e) => e.getClientRects().length)
    .map((e) => e.getBoundingClientRect()).map((r) => [r.top, r.bottom])"""


@pytest.fixture
def room(transactional_db: Any) -> Fleet:
    """A boiler serviced 40 days ago, with a glass, a gauge and people with PINs; today."""

    def made() -> Fleet:
        fleet, now = make_fleet(), timezone.now()
        for ref, kind in (("glass", "gauge_glass"), ("gauge", "gauge"), ("meter", "makeup_meter")):
            fit(fleet, ref, kind, kind)
        fleet.post(fleet.serviced(now - 40 * DAY), at=now - 40 * DAY)
        give_pins(fleet, now)
        return fleet

    return kept.once("a boiler room with people's PINs", made)


@dataclass
class Hand:
    """One hand on a telephone: each tap is counted."""

    page: Page
    address: str
    taps: int = 0

    def open(self, page: str = "", query: str = "") -> None:
        self.page.goto(f"{self.address}{page}{query}")

    def tap(self, text: str) -> None:
        self.taps += 1
        self.page.get_by_text(text, exact=True).locator("visible=true").first.click()

    def typed(self, field: str, text: str) -> None:
        """A tap into the field and one on each key."""
        self.taps += 1 + len(text)
        self.page.locator(field).fill(text)


Take = Callable[..., Hand]


@pytest.fixture
def complaints() -> list[str]:
    return []


@pytest.fixture
def take(room: Fleet, live_server: Any, browser: Browser, complaints: list[str]) -> Iterator[Take]:
    """Take a telephone in hand, in front of the card."""
    contexts = []

    def taken(*, scripts: bool = True, width: int = 360, theme: str = "light") -> Hand:
        viewport = {**SCREEN, "width": width}
        context = browser.new_context(
            viewport=viewport, has_touch=True, java_script_enabled=scripts, color_scheme=theme, locale="en-US"
        )
        context.on("weberror", lambda error: complaints.append(str(error.error)))
        contexts.append(context)
        secret = hang_card(room, timezone.now()).secret
        return Hand(context.new_page(), f"{live_server.url}/card/{secret}/")

    yield taken
    for context in contexts:
        close_quietly(context)
    assert complaints == []


def standing_of(fleet: Fleet) -> str:
    found = board.standing_of(fleet.bench().boiler.id, timezone.now())
    assert found is not None
    return found.standing


@pytest.mark.parametrize(("scripts", "who", "most_taps"), [(True, "", 6), (False, "", 6), (True, "bram", 14)])
def test_a_flush_takes_six_taps_and_eight_more_under_a_pin(
    take: Take, room: Fleet, scripts: bool, who: str, most_taps: int
) -> None:
    hand, began = take(scripts=scripts), time.monotonic()
    hand.open()
    hand.tap("FLUSH")
    for answer in GOOD:
        hand.tap(answer)
    if who:
        hand.tap(who)
        hand.typed("#pin", PIN)
    hand.tap("SAVE")
    expect(hand.page.get_by_role("heading", name="It is written down")).to_be_visible()
    print(
        f"\nflush from the card, scripts {scripts}, PIN {bool(who)}: {hand.taps} taps, {time.monotonic() - began:.1f} s"
    )
    assert hand.taps == most_taps
    visit = Visit.objects.get(card_post__isnull=False)
    assert (visit.entries.get().outcome, visit.operator_relay) == ("pass", "pin" if who else "nobody")


@pytest.mark.parametrize("scripts", [True, False])
def test_an_answer_that_makes_a_hold_shows_what_to_do_before_anything_is_saved(
    take: Take, room: Fleet, scripts: bool
) -> None:
    hand = take(scripts=scripts)
    hand.open("flush/")
    act = hand.page.get_by_text("SWITCH THE BURNER OFF BY HAND AND LEAVE IT OFF.")
    hand.tap("FIRING")
    hand.tap("WATER RUNS")
    assert not act.is_visible()
    hand.tap("KEPT FIRING")
    expect(act).to_be_visible()
    assert not CardPost.objects.exists()
    hand.tap("SAVE")  # what decides the test is enough
    expect(hand.page.get_by_role("heading", name="It is written down")).to_be_visible()
    expect(act).to_be_visible()
    assert standing_of(room) == "hold"


def test_without_a_script_a_form_shows_what_an_answer_asks_for(take: Take) -> None:
    hand = take(scripts=False)
    hand.open("flush/")
    hand.tap("NOT FIRING")
    expect(hand.page.locator(".no-test-act")).to_be_visible()
    for answer, check in (("NO PIN", "to_be_hidden"), ("bram", "to_be_visible"), ("NO PIN", "to_be_hidden")):
        hand.tap(answer)
        getattr(expect(hand.page.locator("#pin")), check)()


def test_gas_is_told_in_three_taps_with_everybody_out_on_the_way(take: Take, room: Fleet) -> None:
    hand = take(scripts=False)
    hand.open()
    hand.tap("SOMETHING IS WRONG")
    hand.tap("SMELL OF GAS")
    expect(hand.page.locator(".act-gas")).to_be_in_viewport()  # however many answers follow
    hand.tap("SAVE")
    expect(hand.page.locator(".act.shown")).to_contain_text("EVERYBODY OUT NOW")
    assert (hand.taps, standing_of(room)) == (3, "hold")


@cache
def large_picture() -> dict[str, Any]:
    """A photograph as a telephone takes it: over the 2 MiB of a form."""
    written = io.BytesIO()
    Image.effect_noise((2200, 1650), 90).convert("RGB").save(written, "JPEG", quality=92)
    assert len(written.getvalue()) > 2 * 1024 * 1024
    return {"name": "boiler.jpg", "mimeType": "image/jpeg", "buffer": written.getvalue()}


@pytest.mark.parametrize(("scripts", "kept_files"), [(True, 1), (False, 0)])
def test_a_large_picture_is_shrunk_by_the_script_and_left_out_without_one(
    take: Take, room: Fleet, scripts: bool, kept_files: int
) -> None:
    hand = take(scripts=scripts)
    hand.open("trouble/")
    hand.tap("SMELL OF GAS")
    hand.page.set_input_files("#picture", large_picture())
    hand.tap("SAVE")
    expect(hand.page.get_by_role("heading", name="It is written down")).to_be_visible()
    told = "With its picture." if kept_files else "The picture is over 2 MB and was left out."
    expect(hand.page.get_by_text(told)).to_be_visible()
    assert (KeptFile.objects.filter(kept_at__isnull=False).count(), standing_of(room)) == (kept_files, "hold")


@pytest.mark.parametrize("scripts", [True, False])
def test_a_double_tap_and_a_reload_make_nothing_twice(take: Take, scripts: bool) -> None:
    hand = take(scripts=scripts)
    hand.open("level/")
    hand.tap("LINE VISIBLE")
    hand.page.get_by_role("button", name="SAVE").dblclick(no_wait_after=True)
    expect(hand.page.get_by_role("heading", name="It is written down")).to_be_visible()
    hand.page.reload()
    expect(hand.page.get_by_role("heading", name="It is written down")).to_be_visible()
    assert CardPost.objects.count() == 1


def faults_of_layout(page: Page) -> list[Any]:
    """What hangs out at the right, and answers too low or too near one another."""
    answers = page.evaluate(ANSWERS)
    low = [(top, bottom) for top, bottom in answers if bottom - top < MIN_HEIGHT - 0.5]
    near = [(a, b) for (_, a), (b, _) in pairwise(answers) if 0 <= b - a < MIN_GAP - 0.5]
    return [*page.evaluate(OUTSIDE), *low, *near]


# The colors of a page do not hang on its language, nor its widths on its theme: each is looked at once.
@pytest.mark.parametrize(("theme", "language"), [("light", "en"), ("dark", "es")])
def test_every_page_fits_320_pixels_and_can_be_used_by_anybody(take: Take, theme: str, language: str) -> None:
    hand = take(width=320, theme=theme)
    wrong: list[Any] = []
    for page in ("", "flush/", "level/", "pressure/", "meter/", "trouble/", "nothing/"):
        hand.open(page, f"?lang={language}")
        if page == "flush/":
            hand.page.locator("label").nth(6).click()  # kept firing: its act stands
            expect(hand.page.locator(".act-burner_off")).to_be_visible()
        found = Axe().run(hand.page).response["violations"]
        wrong += [(page, v["id"], v["nodes"][0]["html"][:90]) for v in found]
        wrong += [(page, fault) for fault in faults_of_layout(hand.page)]
    assert wrong == []


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_page_is_wider_than_320_pixels_with_its_text_at_twice_its_size(take: Take, language: str) -> None:
    hand = take(width=320)
    wrong: list[Any] = []
    for page in ("", "flush/", "level/", "pressure/", "meter/", "reset/", "trouble/", "nothing/"):
        hand.open(page, f"?lang={language}")
        hand.page.evaluate("document.documentElement.style.fontSize = '225%'")  # its own text is 112.5 %
        for label in hand.page.locator("label.answer").all()[:3]:
            label.click()  # what an answer asks for at once stands then
            wrong += [(page, fault) for fault in hand.page.evaluate(OUTSIDE)]
        wrong += [(page, fault) for fault in hand.page.evaluate(OUTSIDE)]
        is_wider = hand.page.evaluate("document.documentElement.scrollWidth > innerWidth")
        wrong += [(page, "the whole is scrolled sideways")] if is_wider else []
    assert wrong == []


def test_a_whole_form_can_be_filled_in_by_keyboard(take: Take) -> None:
    hand = take()
    hand.open("level/")
    for key in ("Tab", "Tab", "Tab", "Tab", "Space"):  # the card, the language, back, the first answer
        hand.page.keyboard.press(key)
    hand.page.get_by_role("button", name="SAVE").press("Enter")
    expect(hand.page.get_by_role("heading", name="It is written down")).to_be_visible()
