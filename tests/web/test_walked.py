"""In a real browser: boiler, position, visit, figures, account and self-check in both themes at both widths."""

from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from fleet.accounts.models import Grant, User
from fleet.portfolio.models import Portfolio
from fleet.web.figures.figures_page import DRAWN_WEEKS
from tests.cards.board import hang_card
from tests.cast import DAY, Fleet
from tests.web.boiler_room import WATER, equip, fit, put_down, visits
from tests.web.test_calculator import Enter, enter

pytestmark = pytest.mark.django_db
__all__ = ["enter"]  # the fixture
# What fits hangs on the width and what can be told apart on the theme: each of both is seen once, in half the time.


@pytest.fixture
def sorrelgate(transactional_db: Any, enter: Enter) -> Fleet:
    """A year of work, a plugged siphon, a failed limit circuit, a correction that waits; rosa manages as well."""
    people = {user.username: user for user in User.objects.all()}
    fleet = Fleet(Portfolio.objects.get(), people["rosa"], people["bram"], people["olga"])
    Grant.objects.create(user=fleet.technician, portfolio=fleet.portfolio, role="manager")
    equip(fleet)
    put_down(fleet, **WATER)
    fit(fleet, "limit-circuit", "limit_circuit", "limit_circuit")
    now = timezone.now()
    fleet.post(
        fleet.serviced(now - 400 * DAY), fleet.serviced(now - 30 * DAY), *visits(fleet, now - 2 * DAY, 4), at=now
    )
    fleet.post(fleet.flushed(now - 300 * DAY, burner_stopped=False), fleet.repaired(now - 290 * DAY), at=now)
    return fleet


def test_by_keyboard_alone_a_key_is_made_and_a_charts_table_is_reached(sorrelgate: Fleet, enter: Enter) -> None:
    page = enter("/account/")
    page.get_by_text("Make a key").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("Phone")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="The new key of Phone")).to_be_visible()
    page.get_by_role("link", name="Figures").click()
    region = page.get_by_role("region", name="Table: How long do repairs take?")
    region.focus()
    expect(region).to_be_focused()
    rows = page.locator("#lapses tbody tr").count()
    bars = page.locator("#lapses figure").evaluate("figure => figure.chart.data.datasets.map(d => d.data.length)")
    assert rows == 53  # the table has the whole year, the chart its first half
    assert bars == [DRAWN_WEEKS, DRAWN_WEEKS]


def test_a_box_to_tick_stands_small_and_before_its_words(sorrelgate: Fleet, enter: Enter) -> None:
    hang_card(sorrelgate)
    page = enter(f"/boilers/{sorrelgate.bench().boiler.id}/wall-card/")
    box, words = (page.locator(f"label.tick {part}").bounding_box() for part in ("input", "span"))
    assert box
    assert words
    assert (box["width"] <= 24, box["height"] <= 24, box["x"] + box["width"] < words["x"]) == (True, True, True)
