"""Data older than it should be says so: a worker that stands still, a network that is gone, a page left open."""

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db.models import Min
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from fleet import pipeline
from fleet.board import sweep_heartbeat
from fleet.board.models import Judged
from fleet.heartbeats.services import LATE_AFTER, SWEEP, note_heartbeat
from fleet.web.shared import stale_notice
from tests.cast import DAY, NOW, Fleet
from tests.stories import story
from tests.web.conftest import SetClock, SignIn, take_session
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


@pytest.mark.django_db
@pytest.mark.parametrize(("backend", "said"), [("locmem.LocMemCache", False), ("redis.RedisCache", True)])
def test_no_sweep_on_record_is_told_of_where_one_would_be_heard_of(backend: str, said: bool, settings: Any) -> None:
    settings.CACHES = {
        "default": {"BACKEND": f"django.core.cache.backends.{backend}", "LOCATION": "redis://127.0.0.1:1"}
    }
    assert ("not known to run" in stale_notice.worker_notice(NOW)) is said


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("ago", "said"), [(LATE_AFTER - SECOND, ""), (LATE_AFTER, ""), (LATE_AFTER + SECOND, "has not run since Mon 12")]
)
def test_a_wiped_cache_does_not_make_a_worker_unknown_that_the_database_knows(
    ago: timedelta, said: str, settings: Any
) -> None:
    backend = "django.core.cache.backends.redis.RedisCache"
    settings.CACHES = {"default": {"BACKEND": backend, "LOCATION": "redis://127.0.0.1:1"}}
    note_heartbeat(SWEEP, NOW - ago)
    notice = stale_notice.worker_notice(NOW)
    assert said in notice
    assert bool(notice) is bool(said)


@story
def judged_yesterday(fleet: Fleet) -> None:
    """Both boilers serviced; their next boundaries lie ahead."""
    fleet.post(*(fleet.flushed(NOW - DAY, key) for key in ("ALD12 B1", "ALD12 B2")))
    fleet.post(*(fleet.serviced(NOW - 30 * DAY, key) for key in ("ALD12 B1", "ALD12 B2")))


BEHIND = "not been judged since a date passed"


@pytest.mark.parametrize("path", ["/", "/wall/", "/fresh/?of=board"])
def test_while_no_sweep_runs_a_board_says_what_is_behind_from_two_minutes_after_a_boundary_on(
    judged_yesterday: Fleet, rosa: Client, clock: SetClock, path: str
) -> None:
    boundary = Judged.objects.aggregate(first=Min("next_at"))["first"]

    def says_it(at: datetime) -> bool:
        clock(at)
        return BEHIND in b"".join(rosa.get(path)).decode()

    late = boundary + LATE_AFTER
    assert [says_it(at) for at in (boundary, late - SECOND, late, late + SECOND)] == [False, False, False, True]
    pipeline.sweep(at=late + SECOND)
    assert not says_it(late + SECOND)


@pytest.mark.parametrize("behind", [1, 2])
def test_the_words_name_how_many_since_when_what_is_behind_and_what_is_not(
    judged_yesterday: Fleet, rosa: Client, behind: int, clock: SetClock
) -> None:
    Judged.objects.update(next_at=NOW + 9 * DAY)
    some = Judged.objects.values_list("id", flat=True)[:behind]
    Judged.objects.filter(id__in=list(some)).update(next_at=NOW)
    clock(NOW + 3 * LATE_AFTER)
    said = {
        1: "1 boiler here has not been judged since a date passed on Mon 12 Jan 2026, 14:00 UTC. Its alerts, jobs and "
        "list of changes are not up to date. Its standing is: it follows the dates by itself.",
        2: "2 boilers here have not been judged since a date passed, the first on Mon 12 Jan 2026, 14:00 UTC. Their "
        "alerts, jobs and lists of changes are not up to date. "
        "Their standings are: they follow the dates by themselves.",
    }
    assert rosa.get("/fresh/?of=board").content.decode() == said[behind]


def test_what_is_behind_stands_beside_the_worker_that_stopped(
    judged_yesterday: Fleet, rosa: Client, clock: SetClock
) -> None:
    sweep_heartbeat.note_sweep(NOW)
    Judged.objects.update(next_at=NOW)
    clock(NOW + 3 * LATE_AFTER)
    told = rosa.get("/fresh/?of=board").content.decode()
    assert told.index("The worker has not run since") < told.index(BEHIND)
    assert BEHIND not in rosa.get("/fresh/").content.decode()  # a page that shows no standings does not ask


def test_what_is_behind_elsewhere_is_said_to_nobody_here(
    judged_yesterday: Fleet, sign_in: SignIn, clock: SetClock
) -> None:
    Judged.objects.update(next_at=NOW)
    clock(NOW + 3 * LATE_AFTER)
    assert sign_in(judged_yesterday.outsider).get("/fresh/?of=board").content == b""


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
