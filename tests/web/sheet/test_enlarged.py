"""The visit sheet with its text at twice its size on the smallest phone: no screen is wider than the window."""

from typing import Any

import pytest
from playwright.sync_api import Browser

from tests.cast import Fleet, make_person
from tests.web.sheet.phone import TAKE_ALONG, SheetPhone, begin_check, close_quietly

pytestmark = pytest.mark.xdist_group("sheet")
SMALLEST = {"width": 320, "height": 568}
# The sheet's own text is 112.5 % of the browser's: twice that.
TWICE = "() => { document.documentElement.style.fontSize = '225%'; }"
# What hangs out at the right; a table may, in a box of its own that is scrolled.
OUTSIDE = """() => [...document.querySelectorAll('body *')]
    .filter((e) => e.getClientRects().length && !e.closest('.wide') && !e.matches('.unseen'))
    .filter((e) => e.getBoundingClientRect().right > innerWidth + 0.5 || e.getBoundingClientRect().left < -0.5)
    .map((e) => e.outerHTML.slice(0, 120))
    .concat([...document.querySelectorAll('.head a')].filter((e) => e.scrollWidth > e.clientWidth + 1).map(String))"""
ADDITIONS = ("", "/observe", "/reset", "/action", "/replace", "/set", "/test", "/remove", "/gap", "/note")


def outside(phone: SheetPhone) -> list[Any]:
    """What is wider than the window of the screen that stands, with the screen."""
    found = phone.page.evaluate(OUTSIDE)
    if phone.page.evaluate("document.documentElement.scrollWidth > innerWidth"):
        found.append("the whole is scrolled sideways")
    return [(phone.drawn(), phone.question(), each) for each in found]


def enlarge(phone: SheetPhone, language: str) -> None:
    """Enlarge the text, in a language."""
    phone.page.evaluate(TWICE)
    if language != "en":
        phone.go("phone")
        phone.tap("Español")


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_screen_of_a_visit_is_wider_than_the_smallest_phone(
    sorrelgate: Fleet, live_server: Any, browser: Browser, language: str
) -> None:
    context = browser.new_context(viewport=SMALLEST, has_touch=True)  # type: ignore[arg-type]
    phone = SheetPhone.take_along(context, sorrelgate.technician, live_server.url)
    boiler = sorrelgate.bench().boiler.id
    enlarge(phone, language)
    wrong = outside(phone)
    for screen in ("", f"boiler/{boiler}"):
        phone.go(screen)
        wrong += outside(phone)
    phone.touch(phone.page.get_by_role("button", name={"en": "Annual service", "es": "Servicio anual"}[language]))
    visit = phone.drawn().split("/")[2]
    wrong += outside(phone)
    (draft,) = phone.kept()
    for step in draft["steps"]:
        phone.go(f"visit/{visit}/step/{step['id']}")
        wrong += outside(phone)
        for question in phone.page.evaluate(QUESTIONS, [visit, step["id"]]):
            phone.go(f"visit/{visit}/step/{step['id']}/{question}")
            wrong += outside(phone)
    for screen in (*(f"add{addition}" for addition in ADDITIONS), f"add/replace/{sorrelgate.bench().places['limit']}"):
        phone.go(f"visit/{visit}/{screen}")
        wrong += outside(phone)
    phone.go(f"visit/{visit}/leave")
    wrong += outside(phone)
    close_quietly(context)
    assert wrong == []


# The names of all questions of a step, as the sheet's own addresses name them.
QUESTIONS = """async ([visit, step]) => {
    const { readDraft } = await import('/sheet/files/visits.js');
    const { kept, wordsPath } = await import('/sheet/files/copies.js');
    const words = (await kept(wordsPath(document.documentElement.lang))).value;
    const code = (await readDraft(visit)).steps.find((s) => s.id === step).code;
    const procedure = words.procedures.find((p) => p.code === code);
    return procedure ? [...(procedure.outcome ? ['outcome'] : []), ...procedure.readings.map((r) => r.name)] : [];
}"""


def test_neither_what_was_posted_nor_the_desks_screens_are_wider(
    sorrelgate: Fleet, live_server: Any, browser: Browser
) -> None:
    context = browser.new_context(viewport=SMALLEST, has_touch=True)  # type: ignore[arg-type]
    dispatcher = make_person("henk", sorrelgate.portfolio, "dispatcher")
    phone = SheetPhone.take_along(context, dispatcher, live_server.url)
    enlarge(phone, "en")
    wrong = []
    for screen in (f"boiler/{sorrelgate.bench().boiler.id}", f"boiler/{sorrelgate.bench().boiler.id}/paper", "phone"):
        phone.go(screen)
        wrong += outside(phone)
    close_quietly(context)
    assert wrong == []


def test_neither_is_what_waits_nor_what_a_stranger_sees(sorrelgate: Fleet, live_server: Any, browser: Browser) -> None:
    context = browser.new_context(viewport=SMALLEST, has_touch=True)  # type: ignore[arg-type]
    phone = SheetPhone.take_along(context, sorrelgate.technician, live_server.url)
    phone.page.on("dialog", lambda dialog: dialog.accept())
    enlarge(phone, "en")
    context.set_offline(True)
    begin_check(phone)
    phone.answer({})
    wrong = outside(phone)
    phone.answer_until("Before leaving")
    phone.tap("Finish and post")
    wrong += outside(phone)
    phone.go("phone")
    phone.tap("Take this phone off")
    phone.page.get_by_role("button", name=TAKE_ALONG).wait_for()
    wrong += outside(phone)
    close_quietly(context)
    assert wrong == []
