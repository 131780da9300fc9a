"""In a real browser: the boiler's page answers first, folds what is long, and hides nothing from link or printer."""

import pytest
from playwright.sync_api import Page, expect

from fleet.accounts.models import Grant, User
from tests.cast import Fleet
from tests.web.test_calculator import Enter, enter
from tests.web.test_charts import sorrelgate, told_to

pytestmark = pytest.mark.django_db
__all__ = ["enter", "sorrelgate"]  # the fixtures
# px of the whole page while its folds are closed: with the caution at the top, the unguarded hazards among the reasons,
# and each source by its title.
FIRST_LOOK = {320: 5500, 1280: 2700, "import": 1700}

# Of every text in the drawings: the least height of its letters on the screen, how many lie over each other or outside.
TEXTS = """() => {
  const drawings = [...document.querySelectorAll('.rail-of')];
  let least = 99, wrong = [];
  for (const drawing of drawings) {
    const room = drawing.getBoundingClientRect(), scale = room.width / drawing.viewBox.baseVal.width;
    const boxes = [...drawing.querySelectorAll('text')].map(text => {
      least = Math.min(least, parseFloat(getComputedStyle(text).fontSize) * scale);
      return [text.textContent, text.getBoundingClientRect()];
    });
    boxes.forEach(([said, box], n) => {
      if (box.left < room.left - 1 || box.right > room.right + 1) wrong.push(said);
      boxes.slice(n + 1).forEach(([other, with_]) => {
        const across = Math.min(box.right, with_.right) - Math.max(box.left, with_.left);
        const down = Math.min(box.bottom, with_.bottom) - Math.max(box.top, with_.top);
        if (across > 1 && down > 3) wrong.push(`${said} | ${other}`);
      });
    });
  }
  return [drawings.length, least, wrong];
}"""


def tall(page: Page) -> int:
    return int(page.evaluate("document.documentElement.scrollHeight"))


def test_the_boilers_page_answers_first_and_folds_what_is_long(sorrelgate: Fleet, enter: Enter) -> None:
    address = told_to(sorrelgate)
    page = enter(address, 320)
    page.wait_for_url("**/boilers/**")
    assert tall(page) < FIRST_LOOK[320]
    for units in ("si", "both"):
        User.objects.update(units=units)
        page.reload()
        drawings, least, wrong = page.evaluate(TEXTS)
        assert drawings == 2
        assert least >= 13
        assert wrong == []

    expect(page.locator("#positions table")).to_be_hidden()
    page.get_by_role("navigation", name="On this page").get_by_role("link", name="Positions").press("Enter")
    expect(page.locator("#positions table")).to_be_visible()
    inner = page.locator("#history details.fold").first
    page.goto(f"{page.url.partition('#')[0]}#{inner.get_attribute('id')}")
    expect(inner.locator("ol, p").first).to_be_visible()

    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(page.url.partition("#")[0])
    assert tall(page) < FIRST_LOOK[1280]
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("details.fold:not([open])").count() == 0
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("details.fold[open]").count() == 0


def test_without_a_script_print_shows_what_is_folded(sorrelgate: Fleet, enter: Enter) -> None:
    page = enter(told_to(sorrelgate), script=False)
    page.wait_for_url("**/boilers/**")
    page.emulate_media(media="print")
    expect(page.locator("#positions table")).to_be_visible()
    expect(page.locator("#table-combustion")).to_be_visible()


def test_on_a_phone_the_import_begins_with_its_form_and_the_columns_are_folded(sorrelgate: Fleet, enter: Enter) -> None:
    Grant.objects.create(user=sorrelgate.technician, portfolio=sorrelgate.portfolio, role="office")
    address = f"/register/import/{sorrelgate.portfolio.id}/"
    page = enter(address, 320)
    told = page.locator(".columns-told")
    expect(told).to_be_hidden()
    assert tall(page) < FIRST_LOOK["import"]
    page.emulate_media(media="print")
    expect(told).to_be_visible()
    page.emulate_media(media="screen")
    page.locator("summary").press("Enter")
    expect(told).to_be_visible()

    plain = enter(address, 320, script=False)
    expect(plain.locator(".columns-told")).to_be_hidden()
    for wide in (page, plain):
        wide.set_viewport_size({"width": 1280, "height": 900})
        wide.reload()
        expect(wide.locator(".columns-told")).to_be_visible()
