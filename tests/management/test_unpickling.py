"""What another account writes into the broker is never run: nothing unpickles, a planted pickle is refused."""

import pickle
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from celery import Celery
from celery.beat import Scheduler
from django.conf import settings
from django.core.cache.backends.redis import RedisCache
from kombu import Connection
from kombu.exceptions import ContentDisallowed

from fleet import settings as site_settings
from fleet.accounts import minute_counts
from fleet.accounts.minute_counts import increment_count, read_count
from fleet.board import sweep_heartbeat
from fleet.celery import app
from fleet.management.embedded.broker import connect_to_broker
from tests.layout.tree import listed, sources

AT = datetime(2026, 1, 12, 14, 0, tzinfo=UTC)
UNPICKLERS = re.compile(
    r"\bc?[Pp]ickle|\b(import|from) (dill|shelve|marshal|joblib)\b|allow_pickle|PersistentScheduler|state_db"
)


class Planted:
    """Leaves a file where it is unpickled."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark

    def __reduce__(self) -> tuple[Any, ...]:
        return Path.touch, (self.mark,)


@pytest.fixture
def mark(tmp_path: Path) -> Path:
    """The file that a planted pickle leaves where it runs."""
    return tmp_path / "ran"


@pytest.fixture
def planted(mark: Path) -> Iterator[bytes]:
    """A pickle under every key of the site's cache that the test asked for; all keys are removed afterwards."""
    with connect_to_broker(settings.REDIS_URL) as client:
        before = set(client.scan_iter())
        yield pickle.dumps(Planted(mark))
        if added := set(client.scan_iter()) - before:
            client.delete(*added)


@pytest.fixture
def cache(monkeypatch: pytest.MonkeyPatch) -> RedisCache:
    """The cache as the site has it: the tests' own is in the memory of its process."""
    options = site_settings.CACHES["default"]
    assert options["BACKEND"].endswith(".RedisCache")
    made = RedisCache(options["LOCATION"], dict(options))
    monkeypatch.setattr(minute_counts, "cache", made)
    monkeypatch.setattr(sweep_heartbeat, "cache", made)
    return made


def write_raw(cache: RedisCache, key: str, content: bytes) -> None:
    with connect_to_broker(settings.REDIS_URL) as client:
        client.set(cache.make_and_validate_key(key), content)


def test_the_planted_pickle_runs_where_somebody_unpickles(planted: bytes, mark: Path) -> None:
    pickle.loads(planted)
    assert mark.exists()


def test_a_pickle_planted_in_the_cache_is_refused_without_running(
    planted: bytes, mark: Path, cache: RedisCache
) -> None:
    write_raw(cache, "anything", planted)
    with pytest.raises(ValueError, match="not JSON"):
        cache.get("anything")
    assert not mark.exists()


def test_a_pickle_in_place_of_the_sweeps_mark_and_of_a_counter_counts_as_none(
    planted: bytes, mark: Path, cache: RedisCache
) -> None:
    write_raw(cache, sweep_heartbeat.CACHE_KEY, planted)
    write_raw(cache, f"reads:user:1:{int(AT.timestamp()) // 60}", planted)
    assert (sweep_heartbeat.last_sweep_at(), read_count("reads:user:1", AT)) == (None, 0)
    assert increment_count("reads:user:1", AT) == 0
    assert not mark.exists()


@pytest.mark.parametrize("value", [0, -3, "swept", None, True, 1.5, ["a", {"b": 2}]])
def test_the_cache_gives_back_what_it_was_given(value: object, planted: bytes, cache: RedisCache) -> None:
    cache.set("value", value, 60)
    assert (cache.get("value", "no such key"), type(cache.get("value"))) == (value, type(value))


def test_a_number_in_the_cache_can_be_counted_up(planted: bytes, cache: RedisCache) -> None:
    assert [cache.add("count", 0, 60), cache.incr("count"), cache.incr("count", 5), cache.get("count")] == [
        *(True, 1, 6, 6)
    ]


def test_the_sweeps_mark_comes_back_to_the_microsecond(planted: bytes, cache: RedisCache) -> None:
    at = AT.replace(microsecond=123456)
    sweep_heartbeat.note_sweep(at)
    assert sweep_heartbeat.last_sweep_at() == at


@pytest.mark.parametrize("noted", [None, 5, "yesterday", "2026-01-12T14:00:00", ["2026-01-12T14:00:00+00:00"]])
def test_what_is_no_time_with_a_zone_is_no_mark_of_a_sweep(noted: object, planted: bytes, cache: RedisCache) -> None:
    cache.set(sweep_heartbeat.CACHE_KEY, noted, 60)
    assert sweep_heartbeat.last_sweep_at() is None


def test_beat_that_keeps_no_state_purges_when_it_starts_and_then_once_an_hour() -> None:
    scheduler = Scheduler(app, lazy=True)
    scheduler.setup_schedule()
    purge = scheduler.schedule["purge"]
    assert purge.is_due() == (True, 3600)
    due, wait = next(purge).is_due()
    assert due is False
    assert 3590 < wait <= 3600


def test_all_that_beat_sends_is_sent_when_it_starts_however_often_it_dies() -> None:
    scheduler = Scheduler(app, lazy=True)
    scheduler.setup_schedule()
    due = {name: entry.is_due()[0] for name, entry in scheduler.schedule.items() if not name.startswith("celery.")}
    assert due == dict.fromkeys(settings.CELERY_BEAT_SCHEDULE, True)
    assert {"sweep", "deliver", "watcher"} <= due.keys()


def test_worker_and_beat_write_and_accept_json_alone_and_beat_keeps_no_file() -> None:
    names = ("task_serializer", "result_serializer", "event_serializer")
    assert {app.conf[name] for name in names} == {"json"}
    assert list(app.conf.accept_content) == list(app.conf.result_accept_content) == ["json"]
    assert app.conf.beat_scheduler == "celery.beat:Scheduler"


def test_a_pickle_sent_as_a_task_is_refused_without_running(mark: Path) -> None:
    sender = Celery("sender", broker="memory://", set_as_current=False)
    sender.conf.update(task_serializer="pickle", accept_content=["pickle"])
    with Connection("memory://") as connection, connection.channel() as channel:
        queue = sender.amqp.queues["celery"](channel)
        queue.declare()
        sender.send_task("fleet.tasks.sweep", args=[Planted(mark)], connection=connection)
        message = queue.get(accept=app.conf.accept_content)
        assert message is not None
        with pytest.raises(ContentDisallowed):
            message.decode()
    assert not mark.exists()


def test_no_session_and_no_message_is_a_pickle() -> None:
    assert settings.SESSION_SERIALIZER.endswith("JSONSerializer")
    assert settings.SESSION_ENGINE == "django.contrib.sessions.backends.db"


def test_no_line_of_the_program_unpickles() -> None:
    lines = [(name, line) for name, text in sources() for line in text.splitlines()]
    faults = [f"{name}: {line.strip()}" for name, line in lines if UNPICKLERS.search(line)]
    assert not faults, listed(faults)
