"""A technician's phone with the visit sheet: taken along, tapped through, switched off."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import BrowserContext, Locator, Page, TimeoutError, expect

from fleet.accounts.models import User
from fleet.visits.models import Visit
from tests.web.conftest import take_session

SCREEN = {"width": 375, "height": 750}
# Touches here are seconds apart by the page's own count, and follow each other at once.
SPREAD_TOUCHES = """
    let touched = 0;
    Object.defineProperty(Event.prototype, "timeStamp", { get() { return (touched += 1000); } });
"""
TAKE_ALONG = "Take this phone along"
# What is answered where a question is not named: the first answer, which is the good one but for these.
OTHER_ANSWERS = {
    "Does it drip?": "NO DRIP",
    "Was there a puff, flame outside, soot or a smell?": "NOTHING",
    "Does flue gas still spill after five minutes?": "NO SPILL",
}
NUMBERS = {
    "Pressure when it tripped": "8",
    "Minutes it stayed off": "4",
    "Pressure when you checked that it stayed off": "2",
    "Set point read back after the test": "8",
    "Height of the line when it tripped": "3",
    "Pressure at the gauge": "6",
}


@dataclass
class SheetPhone:
    """One page of the visit sheet."""

    page: Page

    @classmethod
    def take_along(cls, context: BrowserContext, user: User, url: str) -> "SheetPhone":
        """Sign somebody in, open the sheet and take the phone along; its own files are kept when this returns."""
        take_session(context, user, url)
        context.add_init_script(SPREAD_TOUCHES)
        phone = cls(context.new_page())
        phone.page.goto(f"{url}/sheet/")
        with phone.page.expect_response(lambda r: "/field-pack/" in r.url):
            phone.tap(TAKE_ALONG)
        expect(phone.page.get_by_role("heading", name="My day")).to_be_visible()
        phone.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        phone.page.wait_for_load_state("networkidle")
        return phone

    def tap(self, text: str) -> None:
        """Touch the first thing that says this."""
        self.touch(self.page.get_by_text(text, exact=True).locator("visible=true").first)

    def touch(self, place: Locator) -> None:
        """Touch, and wait for the screen that follows; some touches draw none."""
        turn = self.page.evaluate("document.body.dataset.turn ?? ''")
        place.click()
        with suppress(TimeoutError):
            self.page.wait_for_function("(turn) => document.body.dataset.turn !== turn", arg=turn, timeout=4_000)
        self.page.evaluate("new Promise((done) => setTimeout(done, 60))")  # two screens may follow one touch

    def open_boiler(self, name: str) -> None:
        """Go to a boiler of the day's list."""
        self.go("")
        self.tap(name)

    def go(self, screen: str) -> None:
        """Go to a screen by its address."""
        self.page.evaluate("(hash) => { location.hash = hash; }", f"#/{screen}")
        self.page.wait_for_function("(hash) => document.body.dataset.drawn === hash", arg=f"#/{screen}")

    def drawn(self) -> str:
        """The address of the screen that stands."""
        return str(self.page.evaluate("document.body.dataset.drawn"))

    def type_number(self, number: str) -> None:
        """Type on the sheet's own keys, and keep it."""
        for digit in number:
            self.page.locator(".keys").get_by_text(digit, exact=True).click()
        self.touch(self.page.locator(".answers").get_by_role("button", name="Keep", exact=True))

    def question(self) -> str:
        """The question that stands; "" where none does."""
        found = self.page.locator("#question")
        return found.inner_text() if found.count() else ""

    def answer(self, answers: Mapping[str, str]) -> str:
        """Answer the question that stands, or go on where none does; return what was asked."""
        asked, screen = self.question(), self.drawn()
        if self.page.locator(".keys").count():
            self.type_number(answers.get(asked, NUMBERS.get(asked, "5")))
        elif asked:
            given = answers.get(asked, OTHER_ANSWERS.get(asked, ""))
            buttons = self.page.locator(".answers .answer >> visible=true")
            self.touch((buttons.get_by_text(given, exact=True) if given else buttons).first)
        else:
            self.touch(self.page.locator(".answers .answer >> visible=true").first)
        self.page.wait_for_function(
            "([asked, screen]) => document.querySelector('#question')?.textContent !== asked"
            " || document.body.dataset.drawn !== screen",
            arg=[asked, screen],
        )
        return asked

    def answer_until(self, stop: str, answers: Mapping[str, str] | None = None, most: int = 120) -> list[str]:
        """Answer one question after the other until the screen of this name stands; return what was asked."""
        asked = []
        while stop not in self.page.locator("h1").first.inner_text():
            assert len(asked) < most, f"{stop} was never reached: {asked[-3:]}"
            asked.append(self.answer(answers or {}))
        return asked

    def leave(self, left_as: str = "OFF", *, checks: bool = True) -> None:
        """Answer every leaving check with yes and finish."""
        for check in self.page.locator(".check").all() if checks else ():
            self.touch(check.get_by_text("YES", exact=True))
        self.tap(left_as)
        self.tap("Finish and post")

    def kept(self) -> list[Any]:
        """What the phone keeps of its visits, unsealed."""
        script = """async () => {
            const { keptHeads, readDraft } = await import('/sheet/files/visits.js');
            return Promise.all((await keptHeads()).map((head) => readDraft(head.id)));
        }"""
        return list(self.page.evaluate(script))

    def wait_for_state(self, state: str) -> Any:
        """Wait until a visit kept is in this state, and return it. Until the phone is taken along all are sealed."""
        for _ in range(100):
            found = next((draft for draft in self.kept() if draft and draft["state"] == state), None)
            if found:
                return found
            self.page.wait_for_timeout(200)
        raise AssertionError(f"no visit became {state}: {[draft and draft['state'] for draft in self.kept()]}")


def close_quietly(context: BrowserContext) -> None:
    """Close a browser's context behind its last request: one under way would meet the emptying of the database."""
    for page in context.pages:
        page.wait_for_load_state("networkidle")
    context.close()


def posted() -> list[Visit]:
    """The visits that came through the door after the cast's own."""
    return list(Visit.objects.filter(posted_by__isnull=False).order_by("posted_at"))


def begin_check(phone: SheetPhone) -> None:
    """Begin a routine check of the first boiler."""
    phone.open_boiler("12 Alder Terrace · Boiler 1")
    phone.tap("Routine check")
    phone.tap("Begin")


def finish_flush(phone: SheetPhone) -> None:
    """Write a flush that passes to its end."""
    begin_check(phone)
    phone.answer_until("Before leaving")
    phone.tap("Finish and post")


def try_again(phone: SheetPhone) -> None:
    """What the timer does after half a minute, and the phone when it meets signal."""
    phone.page.evaluate("window.dispatchEvent(new Event('online'))")
