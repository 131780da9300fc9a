"""Real connections at once: nothing lost, nothing doubled, no wait for another boiler's lock."""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, connections, transaction

from fleet import pipeline
from fleet.board.models import Change, Judged, Pulse
from fleet.portfolio.locks import lock
from fleet.visits.models import Visit
from tests.cast import DAY, NOW, Fleet, conclusions, make_fleet

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def fleet(transactional_db: Any) -> Fleet:
    """Committed, so that other connections see it."""
    return make_fleet()


def at_once(*works: Callable[[], Any]) -> list[Any]:
    """Run each in a thread with a connection of its own; raises what any of them raised."""

    def closing(work: Callable[[], Any]) -> Any:
        try:
            return work()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(works)) as pool:
        return [f.result(timeout=60) for f in [pool.submit(closing, w) for w in works]]


def test_the_same_visit_posted_by_eight_clients_at_once_is_one_visit(fleet: Fleet) -> None:
    visit = fleet.flushed(NOW, burner_stopped=False)
    answers = at_once(*[lambda: fleet.post(visit)[0]] * 8)
    assert Visit.objects.count() == 1
    assert sorted(a.created for a in answers) == [False] * 7 + [True]
    assert len({a.body for a in answers}) == 1


def test_posts_from_many_clients_and_a_sweep_conclude_the_same_as_a_serial_run(fleet: Fleet) -> None:
    keys = ("ALD12 B1", "ALD12 B2")
    visits = [fleet.flushed(NOW - timedelta(hours=h), keys[h % 2], burner_stopped=bool(h % 5)) for h in range(24)]
    works = [lambda v=v: fleet.post(v) for v in visits]
    at_once(*works[:12], lambda: pipeline.sweep(at=NOW), *works[12:], lambda: pipeline.sweep(at=NOW))
    boilers = [fleet.bench(key).boiler.id for key in keys]
    together = [conclusions(b) for b in boilers]
    assert Visit.objects.count() == len(visits)
    assert pipeline.rebuild(at=NOW) == 0
    assert [conclusions(b) for b in boilers] == together


def test_the_feed_has_no_gap_and_no_double_after_concurrent_posts(fleet: Fleet) -> None:
    visits = [fleet.flushed(NOW - timedelta(hours=h), burner_stopped=bool(h % 2)) for h in range(12)]
    before = Pulse.objects.get().version
    at_once(*[lambda v=v: fleet.post(v) for v in visits])
    assert Pulse.objects.get().version == before + len(visits)
    order = list(Change.objects.order_by("version", "number").values_list("version", "number"))
    assert len(order) == len(set(order))


def test_a_post_does_not_wait_for_another_boilers_lock(fleet: Fleet) -> None:
    held, go = threading.Event(), threading.Event()
    busy = fleet.bench("ALD12 B2").boiler.id

    def hold() -> None:
        with transaction.atomic():
            lock([busy])
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
            lock([busy])
            held.set()
            assert go.wait(30)

    def sweep() -> pipeline.Swept:
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
