"""A real beat wakes a real worker over the real broker, and the sweep raises what time alone brought."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from celery import Celery, current_app
from django.conf import settings
from django.db import connection
from django.utils import timezone

from fleet.alerts.models import Alert
from fleet.board.models import Judged
from fleet.heartbeats.services import (
    BEAT,
    DELIVERY,
    PARTS,
    WATCHER_CALLED,
    WATCHER_FAILED,
    WORKER,
    note_heartbeat,
    read_heartbeats,
)
from fleet.management.embedded.plan import DELIVERY_QUEUES
from fleet.wake import send_wakeup, wake_task
from tests.cast import DAY, NOW, Fleet, make_fleet
from tests.heartbeats.receivers import OK, Receiver, answer_with, hang, receiver

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.timeout(120)]

CELERY = (sys.executable, "-m", "celery", "-A", "fleet.celery")


@pytest.fixture
def fleet(transactional_db: Any) -> Fleet:
    """Committed; serviced and flushed last January, and never since."""
    made = make_fleet()
    made.post(made.serviced(NOW - 30 * DAY), made.flushed(NOW - DAY))
    return made


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., "subprocess.Popen[bytes]"]]:
    """Start a program of the site against the test's database; whatever still runs is ended afterwards."""
    running: list[subprocess.Popen[bytes]] = []

    def begin(*arguments: str, **more_environment: str) -> "subprocess.Popen[bytes]":
        with (tmp_path / "log").open("ab") as log:
            process = subprocess.Popen(
                [*CELERY, *arguments],
                cwd=settings.ROOT,
                env={**environment(), **more_environment},
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        running.append(process)
        return process

    yield begin
    for process in running:
        end(process, signal.SIGKILL)


def environment() -> dict[str, str]:
    """The environment of a worker that works on the test's own database."""
    database = connection.settings_dict
    host = quote(str(database["HOST"]), safe="")
    url = f"postgresql://{database['USER']}:{quote(str(database['PASSWORD']))}@{host}/{database['NAME']}"
    port = f":{database['PORT']}" if database["PORT"] else ""
    url += f"?options={quote(database['OPTIONS']['options'])}"  # it acts as the role that the tests act as
    return {**os.environ, "DATABASE_URL": url.replace(f"@{host}", f"@{host}{port}"), "GAUGEGLASS_SWEEP_SECONDS": "1"}


def end(process: "subprocess.Popen[bytes]", how: signal.Signals) -> None:
    """End a program with all its children, if it still runs."""
    if process.poll() is None:
        os.killpg(process.pid, how)
        process.wait(30)


def within(seconds: float, question: Callable[[], bool]) -> bool:
    """Whether the answer becomes yes in time."""
    deadline = time.monotonic() + seconds
    while not question():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.2)
    return True


def lapsed() -> bool:
    return Alert.objects.filter(condition="lapsed", until=None).exists()


def worker(start: Callable[..., Any]) -> Any:
    return start("worker", "--pool", "prefork", "--concurrency", "1", "-l", "INFO")


def beat(start: Callable[..., Any]) -> Any:
    return start("beat", "--pidfile", "", "-l", "INFO")


def delivery(start: Callable[..., Any], **more_environment: str) -> Any:
    """The worker of what tells others, as the plan of a site starts it, with one process."""
    pool = ("--pool", "prefork", "--concurrency", "1", "-Q", DELIVERY_QUEUES, "-n", "delivery@%h")
    return start("worker", *pool, "--without-mingle", "--without-gossip", "-l", "INFO", **more_environment)


def seen(*parts: str) -> bool:
    return set(parts) <= set(read_heartbeats())


def send(name: str) -> None:
    """Send a task as the site does, and not as beat."""
    with current_app.connection_for_write() as broker:
        current_app.send_task(name, connection=broker, ignore_result=True)


def test_beat_and_worker_raise_what_lapsed_while_nothing_ran(fleet: Fleet, start: Callable[..., Any]) -> None:
    assert not lapsed()
    worker(start)
    beat(start)
    assert within(40, lapsed)
    flush = Alert.objects.filter(condition="lapsed").earliest("since")
    assert flush.since < NOW + 40 * DAY < flush.raised_at


def test_a_sweep_asked_for_while_the_worker_was_killed_is_done_by_the_next_worker(
    fleet: Fleet, start: Callable[..., Any]
) -> None:
    first = worker(start)
    wake_task("fleet.tasks.sweep")
    assert within(40, lapsed)
    end(first, signal.SIGKILL)
    Judged.objects.update(build="r0.c1.t0")
    wake_task("fleet.tasks.sweep")
    worker(start)
    assert within(40, lambda: not Judged.objects.filter(build="r0.c1.t0").exists())


def test_beat_the_two_workers_and_the_sweep_are_each_seen_at_work(fleet: Fleet, start: Callable[..., Any]) -> None:
    began = timezone.now()
    worker(start)
    delivery(start)
    beat(start)
    assert within(60, lambda: seen(*PARTS))
    instants = {part: heartbeat.seen_at for part, heartbeat in read_heartbeats().items()}
    assert {part for part, at in instants.items() if began < at < timezone.now()} == set(PARTS)
    assert instants[BEAT] < max(instants[WORKER], instants[DELIVERY])  # it is seen as of when it sent


def test_what_somebody_else_sends_shows_the_worker_and_not_beat(fleet: Fleet, start: Callable[..., Any]) -> None:
    worker(start)
    send("fleet.tasks.note_worker")
    assert within(40, lambda: seen(WORKER))
    assert not seen(BEAT)


def test_the_sweeps_worker_leaves_what_tells_others_to_the_other_one(fleet: Fleet, start: Callable[..., Any]) -> None:
    worker(start)
    send("fleet.tasks.note_delivery")
    send("fleet.tasks.note_worker")
    assert within(40, lambda: seen(WORKER))
    assert not seen(DELIVERY)
    delivery(start)
    assert within(40, lambda: seen(DELIVERY))


@pytest.mark.parametrize("answer", [answer_with(OK), hang])
def test_the_watcher_is_called_by_the_other_worker_and_delays_no_sweep_however_it_answers(
    answer: Callable[[Receiver, socket.socket], None], fleet: Fleet, start: Callable[..., Any]
) -> None:
    for part in PARTS:
        note_heartbeat(part, timezone.now() + timedelta(seconds=60))  # on time for three minutes
    with receiver(answer) as running:
        worker(start)
        delivery(start, GAUGEGLASS_WATCHER_URL=running.url())
        send("fleet.tasks.call_watcher")
        assert within(40, lambda: bool(running.requests))
        wake_task("fleet.tasks.sweep")
        assert within(40, lapsed)
        expected = WATCHER_CALLED if answer is not hang else WATCHER_FAILED
        assert within(20, lambda: seen(expected))
        assert len(running.requests) == 1


def test_a_wake_up_that_finds_no_broker_fails_nobody(db: Any, caplog: pytest.LogCaptureFixture) -> None:
    nowhere = Celery("nowhere", broker="redis://127.0.0.1:1/0", set_as_current=False)
    nowhere.conf.broker_transport_options = {"socket_connect_timeout": 1}
    with nowhere.connection_for_write():
        send_wakeup("fleet.tasks.sweep", nowhere)
    assert "could not wake fleet.tasks.sweep" in caplog.text
