"""Whatever failed meanwhile, afterwards there are the alerts and figures of a run that nothing disturbed."""

import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from importlib import import_module
from typing import Any

import pytest
from celery import current_app
from django.conf import settings
from django.db import transaction

from fleet import pipeline
from fleet.alerts.models import Alert
from fleet.board.models import Change, Judged, Pulse
from fleet.figures import standing_counts
from fleet.portfolio.models import Boiler
from fleet.wake import send_wakeup
from tests import kept
from tests.cast import DAY, NOW, Fleet, conclusions, make_fleet
from tests.pipeline.crowd import at_once
from tests.tasks.test_worker import environment

pytestmark = pytest.mark.django_db(transaction=True)

sweeping = import_module("fleet.pipeline.sweep")  # the room offers its function under the same name
concluding = import_module("fleet.pipeline.conclude")
LAST = NOW + 40 * DAY
QUIET = timedelta(days=8)
LEFT: list[tuple[Any, ...]] = []


@pytest.fixture
def fleet(transactional_db: Any) -> Fleet:
    """Three boilers with weeks behind them and boundaries ahead, committed; worked out once, and put back."""
    return kept.once("three boilers with weeks behind them", begun)


def begun() -> Fleet:
    made = make_fleet("ALD12", "QUA48")
    for key in ("ALD12 B1", "ALD12 B2", "QUA48 B1"):
        made.post(made.serviced(NOW - 30 * DAY, key), made.flushed(NOW - DAY, key))
    made.post(made.flushed(NOW - timedelta(hours=3), "ALD12 B2", burner_stopped=False))
    return made


def left() -> tuple[Any, ...]:
    """What a run is judged by: the alerts with when they held, the figures, and all conclusions."""
    every, first, last = Boiler.objects.all(), (NOW - 40 * DAY).date(), LAST.date()
    return (
        set(Alert.objects.exclude(condition="cannot_be_judged").values_list("condition", "subject", "since", "until")),
        standing_counts.standings_per_day(every, first, last),
        standing_counts.open_by_class_per_day(every, first, last),
        standing_counts.age_bands_per_day(every, first, last),
        {b.id: conclusions(b.id) | {"Alert": None} for b in every},
    )


def days(since: datetime, until: datetime, step: timedelta = timedelta(hours=12)) -> Iterator[datetime]:
    """Sweeps twice a day."""
    while since < until:
        yield since
        since += step
    yield until


def story(fleet: Fleet, at: datetime) -> None:
    """What people go on posting whatever else happens: a late failure and its repair, in the middle."""
    if at == NOW + 10 * DAY:
        fleet.post(fleet.flushed(NOW + 9 * DAY, burner_stopped=False), at=at)
    if at == NOW + 12 * DAY:
        fleet.post(fleet.repaired(NOW + 12 * DAY), at=at)


@pytest.fixture
def undisturbed(fleet: Fleet) -> tuple[Any, ...]:
    """What is left after forty days of sweeps of the same three boilers; told once."""
    if not LEFT:
        LEFT.append(told_undisturbed(fleet))
    return LEFT[0]


def told_undisturbed(fleet: Fleet) -> tuple[Any, ...]:
    """The database is as before afterwards."""
    with transaction.atomic():
        for at in days(NOW, LAST):
            story(fleet, at)
            pipeline.sweep(at=at)
        found = left()
        transaction.set_rollback(True)
    assert {c for c, *_ in found[0]} >= {"hold", "due", "lapsed"}
    return found


def agreed(undisturbed: tuple[Any, ...]) -> None:
    """The same is left, nothing is raised beside it, and a rebuild writes no row."""
    assert left() == undisturbed
    assert not Alert.objects.filter(condition="cannot_be_judged", until=None).exists()
    assert pipeline.rebuild(at=LAST) == 0


@pytest.mark.parametrize("begin", [NOW, NOW + 5 * DAY, NOW + 8 * DAY + timedelta(hours=12), LAST - QUIET])
def test_beat_stopped_for_eight_days(fleet: Fleet, undisturbed: tuple[Any, ...], begin: datetime) -> None:
    for at in days(NOW, LAST):
        story(fleet, at)
        if not begin <= at < begin + QUIET:
            pipeline.sweep(at=at)
    agreed(undisturbed)


def test_beat_stopped_all_the_time(fleet: Fleet, undisturbed: tuple[Any, ...]) -> None:
    for at in days(NOW, LAST):
        story(fleet, at)
    pipeline.sweep(at=LAST)
    agreed(undisturbed)


def test_doubled_beat(fleet: Fleet, undisturbed: tuple[Any, ...]) -> None:
    for at in days(NOW, LAST, DAY):
        story(fleet, at)
        at_once(lambda at=at: pipeline.sweep(at=at), lambda at=at: pipeline.sweep(at=at))
    pipeline.sweep(at=LAST)
    agreed(undisturbed)
    assert Change.objects.order_by("-version").values_list("version", flat=True)[0] == Pulse.objects.get().version


def waiting() -> int:
    """How many wake-ups lie in the broker."""
    with current_app.connection_for_read() as broker:
        return int(broker.default_channel.client.llen("celery"))


def test_broker_wiped_between_post_and_sweep(fleet: Fleet, undisturbed: tuple[Any, ...]) -> None:
    for at in days(NOW, LAST, 2 * DAY):
        story(fleet, at)
        send_wakeup("fleet.tasks.sweep", current_app)
        assert waiting() >= 1
        with current_app.connection_for_write() as broker:
            client = broker.default_channel.client
            client.delete(*client.scan_iter())
        assert waiting() == 0  # the sweep that was asked for will not come; beat's own comes two days on
        pipeline.sweep(at=at)
    agreed(undisturbed)


SWEEP_AND_STOP = """
import sys, time
from datetime import datetime
from importlib import import_module
import django
django.setup()
from fleet import pipeline
sweeping = import_module("fleet.pipeline.sweep")
conclude, taken = sweeping.conclude_boilers, []

def slowly(boilers, **how):
    taken.append(boilers)
    done = conclude(boilers, **how)
    if len(taken) == {stop}:
        print("in hand", flush=True)
        time.sleep(600)
    return done

sweeping.conclude_boilers = slowly
pipeline.sweep(at=datetime.fromisoformat("{at}"))
"""


def killed_in_mid_sweep(at: datetime, stop: int) -> None:
    """Sweep in a process of its own and kill it when it has written, and not committed, so many boilers."""
    code = SWEEP_AND_STOP.format(stop=stop, at=at.isoformat())
    process = subprocess.Popen(
        [sys.executable, "-c", code], cwd=settings.ROOT, env=environment(), stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    try:
        assert process.stdout.readline() == "in hand\n"
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait(30)


@pytest.mark.parametrize("stop", [1, 2, 3])
def test_worker_killed_in_mid_sweep(fleet: Fleet, undisturbed: tuple[Any, ...], stop: int) -> None:
    story(fleet, NOW + 10 * DAY)
    Judged.objects.update(build="r0.c1.t0")  # all three wait for the sweep
    killed_in_mid_sweep(NOW + 11 * DAY, stop)
    committed = Judged.objects.filter(judged_at=NOW + 11 * DAY).count()
    assert committed == stop - 1  # one boiler per transaction: what was finished is kept, what was in hand is not
    story(fleet, NOW + 12 * DAY)
    pipeline.sweep(at=LAST)
    agreed(undisturbed)


def test_a_killed_worker_leaves_no_lock_behind(fleet: Fleet) -> None:
    killed_in_mid_sweep(NOW + 11 * DAY, 1)
    for key in ("ALD12 B1", "ALD12 B2", "QUA48 B1"):
        assert fleet.post(fleet.flushed(NOW, key), at=NOW + 11 * DAY)[0].created


@pytest.fixture
def poisoned(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """No rule can read one boiler's evidence until this is called."""
    real, poisonous = concluding.judge, fleet.bench("QUA48 B1").boiler.id

    def judge(evidence: Any, **how: Any) -> Any:
        if evidence.boiler == poisonous:
            raise ZeroDivisionError
        return real(evidence, **how)

    monkeypatch.setattr(concluding, "judge", judge)
    return lambda: monkeypatch.setattr(concluding, "judge", real)


def test_poisonous_boiler(fleet: Fleet, undisturbed: tuple[Any, ...], poisoned: Callable[[], None]) -> None:
    for at in days(NOW, LAST - 5 * DAY, DAY):
        story(fleet, at)
        pipeline.sweep(at=at)
    assert Alert.objects.filter(condition="cannot_be_judged", until=None).count() == 1
    poisoned()
    pipeline.sweep(at=LAST)
    agreed(undisturbed)


def test_a_poisonous_boiler_keeps_no_other_from_its_sweep(
    fleet: Fleet, undisturbed: tuple[Any, ...], poisoned: Callable[[], None]
) -> None:
    for at in days(NOW, LAST, DAY):
        story(fleet, at)
        pipeline.sweep(at=at)
    sick = fleet.bench("QUA48 B1").boiler.id
    well = {b: c for b, c in left()[-1].items() if b != sick}
    assert well == {b: c for b, c in undisturbed[-1].items() if b != sick}
    assert Judged.objects.get(boiler=sick).failures > 1


def test_a_post_meets_a_sweep_of_the_same_boiler(fleet: Fleet, undisturbed: tuple[Any, ...]) -> None:
    ready = threading.Barrier(2, timeout=180)
    for at in days(NOW, LAST, 2 * DAY):
        at_once(lambda at=at: (ready.wait(), story(fleet, at)), lambda at=at: (ready.wait(), pipeline.sweep(at=at)))
    pipeline.sweep(at=LAST)
    agreed(undisturbed)
