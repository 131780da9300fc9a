"""In a real browser: the charts of a boiler's numbers draw what the tables say, and everybody can use the page."""

import re
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.accounts.models import User
from fleet.portfolio.models import Portfolio
from tests.cast import DAY, Fleet
from tests.web.boiler_room import WATER, equip, put_down, visits
from tests.web.test_calculator import Enter, enter

pytestmark = pytest.mark.django_db
__all__ = ["enter"]  # the fixture


def told_to(fleet: Fleet) -> str:
    """A full boiler by the server's own clock; the address of its page."""
    equip(fleet)
    put_down(fleet, **WATER)
    now = timezone.now()
    fleet.post(fleet.serviced(now - 400 * DAY), fleet.serviced(now - 30 * DAY), *visits(fleet, now - DAY), at=now)
    return f"/boilers/{fleet.bench().boiler.id}/"


@pytest.fixture
def sorrelgate(transactional_db: Any, enter: Enter) -> Fleet:
    """The fleet that `enter` made."""
    people = {user.username: user for user in User.objects.all()}
    return Fleet(Portfolio.objects.get(), people["rosa"], people["bram"], people["olga"])


def charts(page: Page) -> list[int]:
    """How many points each chart draws of its first column."""
    page.wait_for_url("**/boilers/**")
    page.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    expect(page.locator("figure.plot canvas")).to_have_count(page.locator("figure.plot[data-columns]").count())
    points = "figure => figure.chart ? figure.chart.data.datasets[0].data.length : 0"
    return [figure.evaluate(points) for figure in page.locator("figure.plot").all()]


def test_the_library_of_the_charts_is_served_from_its_wheel_with_its_licence(client: Client) -> None:
    script = b"".join(client.get("/static/chart/chart.js").streaming_content)
    licence = b"".join(client.get("/static/chart/LICENSE").streaming_content)
    assert b"Chart" in script[:400]
    assert b"The MIT License" in licence


def test_each_chart_draws_every_row_of_the_table_beside_it(sorrelgate: Fleet, enter: Enter) -> None:
    page = enter(told_to(sorrelgate))
    drawn = charts(page)
    rows = "figure => figure.closest('.beside').querySelectorAll('tbody tr').length"
    beside = [figure.evaluate(rows) for figure in page.locator("figure.plot").all()]
    assert len(drawn) >= 8
    assert drawn == beside


def test_a_chart_is_told_by_its_question_to_who_does_not_see_it(sorrelgate: Fleet, enter: Enter) -> None:
    page = enter(told_to(sorrelgate))
    charts(page)
    stack = page.get_by_role("img", name=re.compile("Is the stack growing hotter"))
    expect(stack).to_have_attribute("aria-label", re.compile("Rising.*The table beside says the same"))


def test_without_a_script_the_tables_and_the_words_are_there(sorrelgate: Fleet, enter: Enter) -> None:
    page = enter(told_to(sorrelgate), script=False)
    page.locator("#readings-combustion > summary").click()
    expect(page.get_by_text("Is the stack growing hotter?")).to_be_visible()
    assert page.locator("#table-combustion tbody tr").count() == 14
    assert page.locator("canvas").count() == 0


def test_a_table_can_be_scrolled_and_left_by_keyboard(sorrelgate: Fleet, enter: Enter) -> None:
    page = enter(told_to(sorrelgate))
    page.locator("#readings-combustion > summary").press("Enter")
    region = page.get_by_role("region", name="Flue gas")
    region.focus()
    expect(region).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.locator("#table-combustion a").first).to_be_focused()


def test_a_table_is_downloaded_as_csv(sorrelgate: Fleet, enter: Enter) -> None:
    page = enter(told_to(sorrelgate))
    page.locator("#readings-combustion > summary").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="Flue gas as CSV").click()
    assert download.value.suggested_filename == "ALD12-B1-combustion.csv"
