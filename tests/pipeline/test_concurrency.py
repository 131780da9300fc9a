"""Real connections at once: nothing lost, nothing doubled, no wait for another boiler's lock."""

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction

from api.http.retry import run_with_retries
from fleet import pipeline
from fleet.board.feed import ChangeFeed, FeedPosition, next_page
from fleet.board.models import Change, Judged, Pulse
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Visit
from tests.cast import DAY, NOW, Fleet, conclusions, make_fleet
from tests.pipeline.crowd import at_once, called, watched

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def fleet(transactional_db: Any) -> Fleet:
    """Committed, so that other connections see it."""
    return make_fleet()


def test_the_same_visit_posted_by_eight_clients_at_once_is_one_visit(fleet: Fleet) -> None:
    visit = fleet.flushed(NOW, burner_stopped=False)
    answers = at_once(*[lambda: fleet.post(visit)[0]] * 8)
    assert Visit.objects.count() == 1
    assert sorted(a.created for a in answers) == [False] * 7 + [True]
    assert len({a.body for a in answers}) == 1


def test_posts_from_many_clients_and_a_sweep_conclude_the_same_as_a_serial_run(fleet: Fleet) -> None:
    keys = ("ALD12 B1", "ALD12 B2")
    visits = [fleet.flushed(NOW - timedelta(hours=h), keys[h % 2], burner_stopped=bool(h % 5)) for h in range(24)]
    works = [lambda v=v: run_with_retries(lambda: fleet.post(v)) for v in visits]  # as the door does it
    at_once(*works[:12], lambda: pipeline.sweep(at=NOW), *works[12:], lambda: pipeline.sweep(at=NOW))
    boilers = [fleet.bench(key).boiler.id for key in keys]
    together = [conclusions(b) for b in boilers]
    assert Visit.objects.count() == len(visits)
    assert pipeline.rebuild(at=NOW) == 0
    assert [conclusions(b) for b in boilers] == together


def test_the_feed_has_no_gap_and_no_double_after_concurrent_posts(fleet: Fleet) -> None:
    visits = [fleet.flushed(NOW - timedelta(hours=h), burner_stopped=bool(h % 2)) for h in range(12)]
    before = Pulse.objects.get().version
    at_once(*[lambda v=v: run_with_retries(lambda: fleet.post(v)) for v in visits])
    assert Pulse.objects.get().version == before + len(visits)
    order = list(Change.objects.order_by("version", "number").values_list("version", "number"))
    assert len(order) == len(set(order))


def hours_ago(fleet: Fleet, hours: int) -> IncomingVisit:
    """A flush at one of the two boilers; every second one failed."""
    key = ("ALD12 B1", "ALD12 B2")[hours % 2]
    return fleet.flushed(NOW - timedelta(hours=hours), key, burner_stopped=hours % 4 < 2)


def test_a_reader_that_pages_while_others_post_misses_nothing_and_reads_nothing_twice(fleet: Fleet) -> None:
    visits, running = [hours_ago(fleet, h) for h in range(32)], threading.Semaphore(0)
    feed = ChangeFeed([fleet.portfolio.id], Boiler.objects.all(), frozenset([fleet.portfolio.id]))
    read: list[tuple[int, int]] = []
    pages_meanwhile = 0

    def post(own: list[IncomingVisit]) -> None:
        for visit in own:
            fleet.post(visit)
        running.release()

    def read_on(after: FeedPosition, done: int) -> None:
        nonlocal pages_meanwhile
        while True:
            done += running.acquire(blocking=False)
            found = next_page(feed, after, 3)
            read.extend((c.version, c.number) for c in found.changes)
            pages_meanwhile += bool(found.changes) and done < 4
            after = found.place
            if done == 4 and not found.changes:
                return

    at_once(lambda: read_on({}, 0), *(lambda n=n: post(visits[n::4]) for n in range(4)))
    assert read == list(Change.objects.order_by("version", "number").values_list("version", "number"))
    assert pages_meanwhile > 5


def test_a_version_is_committed_only_after_the_one_before_it(fleet: Fleet) -> None:
    """Numbered any other way the second of these would be read first, and a reader would never see the first."""
    before = Pulse.objects.get().version
    stamped, done = threading.Event(), threading.Event()

    def first() -> None:
        with transaction.atomic():
            fleet.post(hours_ago(fleet, 2))
            stamped.set()
            assert not done.wait(0.5)  # the second waits for the pulse as long as this is open

    def second() -> None:
        assert stamped.wait(30)
        assert Change.objects.filter(version__gt=before).count() == 0
        fleet.post(hours_ago(fleet, 3))
        assert set(Change.objects.filter(version__gt=before).values_list("version", flat=True)) == {
            before + 1,
            before + 2,
        }
        done.set()

    at_once(first, second)


def test_the_watcher_sees_a_wait_for_another_boilers_lock(fleet: Fleet) -> None:
    """Else that it saw none would say nothing."""
    mine, other = (fleet.bench(k).boiler.id for k in ("ALD12 B1", "ALD12 B2"))
    held = threading.Event()

    def hold() -> None:
        called(other)
        with transaction.atomic():
            lock_boilers([other])
            held.set()
            threading.Event().wait(0.5)

    def wait() -> None:
        assert held.wait(30)
        called(mine)
        with transaction.atomic():
            lock_boilers([other])

    with watched() as seen:
        at_once(hold, wait)
    assert f"{mine} waits for {other}" in next(iter(seen.strange))
    assert (seen.own, seen.pulse) == (0, 0)


def test_a_post_does_not_wait_for_another_boilers_lock(fleet: Fleet) -> None:
    held, go = threading.Event(), threading.Event()
    busy = fleet.bench("ALD12 B2").boiler.id

    def hold() -> None:
        with transaction.atomic():
            lock_boilers([busy])
            held.set()
            assert go.wait(30)

    def post() -> None:
        assert held.wait(30)
        fleet.post(fleet.flushed(NOW))
        go.set()  # reached only because the post did not wait for the holder

    at_once(hold, post)
    assert Visit.objects.count() == 1


def test_a_sweep_leaves_a_boiler_somebody_holds_and_takes_it_the_next_time(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY))
    Judged.objects.update(build="r0.c1.t0")
    held, go = threading.Event(), threading.Event()
    busy = fleet.bench().boiler.id

    def hold() -> None:
        with transaction.atomic():
            lock_boilers([busy])
            held.set()
            assert go.wait(30)

    def sweep() -> pipeline.SweepResult:
        assert held.wait(30)
        swept = pipeline.sweep(at=NOW)
        go.set()
        return swept

    assert at_once(hold, sweep)[1].skipped == 1
    assert pipeline.sweep(at=NOW).judged == 1


def test_a_lock_is_waited_for_no_longer_than_five_seconds(fleet: Fleet) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SHOW lock_timeout")
        assert cursor.fetchone() == ("5s",)
