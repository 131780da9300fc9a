"""Data older than it should be says so: a worker that stands still, a network that is gone, a page left open."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from fleet.board import sweep_heartbeat
from fleet.web.shared import stale_notice
from fleet.web.shared.self_check import LATE_AFTER
from tests.cast import NOW, Fleet
from tests.web.conftest import take_session
from tests.web.screens import furnish
from tests.web.test_live import watch_shifts

SECOND = timedelta(seconds=1)
LISTS = ("wall", "alert-feed", "boiler-page", "building-page", "deficiencies-page", "jobs-page", "figures-page")


@pytest.mark.parametrize(
    ("after", "said"), [(LATE_AFTER - SECOND, False), (LATE_AFTER, False), (LATE_AFTER + SECOND, True)]
)
def test_a_worker_that_stands_still_for_two_minutes_is_told_of(after: timedelta, said: bool) -> None:
    sweep_heartbeat.note_sweep(NOW)
    assert (
        "has not run since Mon 12 Jan 2026, 14:00 UTC. Until it runs" in stale_notice.worker_notice(NOW + after)
    ) is said


@pytest.mark.parametrize(("backend", "said"), [("locmem.LocMemCache", False), ("redis.RedisCache", True)])
def test_no_sweep_on_record_is_told_of_where_one_would_be_heard_of(backend: str, said: bool, settings: Any) -> None:
    settings.CACHES = {
        "default": {"BACKEND": f"django.core.cache.backends.{backend}", "LOCATION": "redis://127.0.0.1:1"}
    }
    assert ("not known to run" in stale_notice.worker_notice(NOW)) is said


def test_every_page_says_so_from_its_first_moment(fleet: Fleet, rosa: Client) -> None:
    sweep_heartbeat.note_sweep(NOW - 3 * LATE_AFTER)
    assert "The worker has not run since" in rosa.get("/jobs/").content.decode()
    assert "The worker has not run since" in rosa.get("/fresh/").content.decode()


def test_who_signed_out_meanwhile_is_told_apart() -> None:
    assert Client().get("/fresh/", headers={"HX-Request": "true"}).status_code == 401


def minute(page: Page, count: int = 1) -> None:
    """So many minutes pass at once."""
    page.clock.fast_forward(count * 60_000 + 1)


def test_pages_left_open_say_when_the_network_is_gone_and_when_they_are_old_and_move_nothing(
    transactional_db: Any, live_server: Any, browser: Browser
) -> None:
    town = furnish()
    context = browser.new_context(viewport={"width": 320, "height": 600})
    take_session(context, town.manager, live_server.url)
    context.clock.install()
    pages = {name: context.new_page() for name in ("board", *LISTS)}
    for name, page in pages.items():
        page.goto(live_server.url + town.addresses[name], wait_until="networkidle")
        expect(page.locator("#stale")).to_be_empty()
        watch_shifts(page)
    context.set_offline(True)
    for name in LISTS:
        told = re.compile(r"^No network\. What stands here is as of \d\d:\d\d\.$")
        expect(pages[name].locator("#stale")).to_have_text(told)
    pages["board"].clock.fast_forward(5_000)
    expect(pages["board"].locator("#freshness.stale")).to_contain_text("Not refreshed since")
    context.set_offline(False)
    for name in LISTS:
        expect(pages[name].locator("#stale")).to_be_empty()
    sweep_heartbeat.note_sweep(timezone.now() - 3 * LATE_AFTER)
    pages["jobs-page"].bring_to_front()
    minute(pages["jobs-page"])
    expect(pages["jobs-page"].locator("#stale")).to_contain_text("The worker has not run since")
    minute(pages["jobs-page"], 10)
    expect(pages["jobs-page"].locator("#stale")).to_contain_text("reload it to see what has changed since")
    for name in LISTS:
        moved = [each for _, sources in pages[name].evaluate("window.shifts") for each in sources]
        assert (name, [each for each in moved if not each.startswith("stale ")]) == (
            name,
            [],
        )  # but what says so itself
