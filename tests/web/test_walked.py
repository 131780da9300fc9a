"""In a real browser: boiler, position, visit, figures, account and self-check in both themes at both widths."""

from dataclasses import replace
from itertools import product
from typing import Any
from urllib.parse import urlparse
from uuid import uuid4

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.accounts.models import Grant, User
from fleet.portfolio.models import Portfolio
from tests.cast import DAY, Fleet
from tests.web.boiler_room import WATER, equip, fit, put_down, visits
from tests.web.looks import PRESENTATIONS
from tests.web.test_calculator import Enter, enter
from tests.web.test_live import violations

pytestmark = pytest.mark.django_db
__all__ = ["enter"]  # the fixture
# What fits hangs on the width and what can be told apart on the theme: each of both is seen once, in half the time.


@pytest.fixture
def larkfield(transactional_db: Any, enter: Enter) -> Fleet:
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


def break_it(fleet: Fleet) -> str:
    """Plug a siphon, let the circuit fail, correct a hold away; the correction's address."""
    bench, at = fleet.bench(), timezone.now()
    plugged = bench.test(at - DAY, "siphon_check", "siphon-2", "fail", passes_water=False)
    circuit = {"burner_firing": True, "switch_opened": True, "burner_stopped": False, "fuel_shut": False}
    opened = bench.test(at - DAY, "limit_circuit_trip", "limit-circuit", "fail", **circuit)
    fleet.post(bench.visit("no_heat", at - DAY, [fleet.technician.id], [plugged, opened]), at=at)
    bad = fleet.flushed(at - DAY / 24, "ALD12 B2", burner_stopped=False)
    good = replace(fleet.flushed(at - DAY / 24, "ALD12 B2"), id=uuid4(), corrects=bad.id, reason="the wrong switch")
    fleet.post(bad, at=at)
    fleet.post(good, at=at)
    return f"/visits/{good.id}/"


def walk(page: Page, addresses: dict[str, str]) -> list[str]:
    """What is wrong, page by page: what axe finds, and a page wider than its window."""
    parsed, found = urlparse(page.url), []
    for (name, address), (theme, width) in product(addresses.items(), PRESENTATIONS):
        page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(f"{parsed.scheme}://{parsed.netloc}{address}")
        for fold in page.locator("details:not([open]) > summary").all()[:3]:
            fold.click()
        # Rows are alike, and axe looks at each cell: a few will do.
        page.evaluate("document.querySelectorAll('.numbers tr:nth-child(n+4)').forEach(row => row.remove())")
        # The boiler's page is long: axe reads it in test_live.py and test_charts.py.
        faults = violations(page) if name != "boiler" else []
        found += [f"{name} {theme} {width}: {fault}" for fault in faults]
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            found.append(f"{name} {theme} {width}: wider than the window")
    return found


def test_the_pages_are_usable_by_everybody_in_both_themes_at_both_widths(larkfield: Fleet, enter: Enter) -> None:
    correction, bench = break_it(larkfield), larkfield.bench()
    page = enter("/account/")
    expect(page.get_by_role("heading", name="Keys of my devices")).to_be_visible()
    boiler = f"/boilers/{bench.boiler.id}/"
    addresses = {
        "boiler": boiler,
        "position": f"{boiler}positions/{bench.places['upper']}/",
        "visit": correction,
        "figures": "/figures/",
        "account": "/account/",
        "self-check": "/self-check/",
    }
    assert walk(page, addresses) == []


def test_by_keyboard_alone_a_key_is_made_and_a_charts_table_is_reached(larkfield: Fleet, enter: Enter) -> None:
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
    assert bars == [rows, rows]
