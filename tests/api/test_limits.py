"""Limits: so much a minute for each key, whatever address it comes from; a cache that is away stops nobody."""

import os
from collections.abc import Iterator
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.cache import caches
from django.core.cache.backends.redis import RedisCache
from django.test import Client, RequestFactory

from api.http import authentication, limits
from fleet import settings as ours
from fleet.accounts.address import address_of
from tests.api.desk import Desk
from tests.api.phone import VISITS, Phone, flush, told
from tests.cast import NOW, Fleet

pytestmark = pytest.mark.django_db
BOILERS = "/api/v1/boilers/"


@pytest.fixture(autouse=True)
def few(settings: Any) -> None:
    """Two of each."""
    settings.READS_A_MINUTE = settings.WRITES_A_MINUTE = settings.BAD_KEYS_A_MINUTE = 2


def standing_at(monkeypatch: pytest.MonkeyPatch, seconds: float) -> None:
    for module in (limits, authentication):
        moment = SimpleNamespace(now=lambda: NOW + timedelta(seconds=seconds))
        monkeypatch.setattr(module, "timezone", moment)


def test_what_is_over_the_limit_is_refused_with_the_seconds_to_wait(
    rosa: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    standing_at(monkeypatch, 12.5)
    assert [rosa.get(BOILERS).status_code for _ in range(2)] == [200, 200]
    refused = rosa.get(BOILERS)
    assert (refused.status_code, told(refused)) == (429, [("throttled", "")])
    assert refused["Retry-After"] == "48"


@pytest.mark.parametrize(("seconds", "status"), [(59.9, 429), (60, 200)])
def test_the_next_minute_begins_anew(seconds: float, status: int, rosa: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    for _ in range(3):
        rosa.get(BOILERS)
    standing_at(monkeypatch, seconds)
    assert rosa.get(BOILERS).status_code == status


def test_reads_and_writes_are_counted_apart(rosa: Phone, fleet: Fleet) -> None:
    assert [rosa.get(BOILERS).status_code for _ in range(3)] == [200, 200, 429]
    assert [rosa.post(flush(fleet)).status_code for _ in range(3)] == [201, 201, 429]


def test_each_key_has_a_count_of_its_own_and_so_have_sessions(rosa: Phone, fleet: Fleet) -> None:
    assert [rosa.get(BOILERS).status_code for _ in range(3)] == [200, 200, 429]
    assert Phone.of(fleet.technician).get(BOILERS).status_code == 200
    desks = [Desk.of(fleet.technician) for _ in range(3)]
    assert [desk.send("GET", BOILERS).status_code for desk in desks] == [200, 200, 429]


def test_a_key_is_counted_wherever_it_comes_from(rosa: Phone) -> None:
    sent = [rosa.send("GET", BOILERS, REMOTE_ADDR=f"198.51.100.{n}").status_code for n in range(3)]
    assert sent == [200, 200, 429]


def test_what_is_refused_as_too_much_keeps_nothing(rosa: Phone, fleet: Fleet) -> None:
    body = flush(fleet)
    for _ in range(2):
        rosa.post(flush(fleet))
    assert rosa.post(body).status_code == 429
    assert rosa.get(f"{VISITS}{body['id']}/").status_code == 404


def bad(address: str, key: str = "gaugeglass_guess") -> Any:
    return Client().get(BOILERS, headers={"Authorization": f"Bearer {key}"}, REMOTE_ADDR=address)


def test_keys_can_not_be_guessed_quickly(rosa: Phone) -> None:
    assert [bad("198.51.100.1").status_code for _ in range(3)] == [401, 401, 429]
    assert bad("198.51.100.1", rosa.key).status_code == 429  # else the one that is right would be found all the same
    assert bad("198.51.100.2", rosa.key).status_code == 200


def test_an_address_that_guessed_is_heard_again_in_the_next_minute(rosa: Phone, monkeypatch: Any) -> None:
    for _ in range(3):
        bad("198.51.100.1")
    standing_at(monkeypatch, 60)
    assert bad("198.51.100.1", rosa.key).status_code == 200


def test_no_key_at_all_is_no_guess() -> None:
    assert {Client().get(BOILERS).status_code for _ in range(4)} == {401}


@pytest.mark.parametrize(
    ("proxies", "forwarded", "address"),
    [
        (0, "203.0.113.9", "198.51.100.1"),
        (1, "203.0.113.9, 203.0.113.10", "203.0.113.10"),
        (2, "203.0.113.9, 203.0.113.10", "203.0.113.9"),
        (3, "203.0.113.9, 203.0.113.10", "203.0.113.9"),
        (1, "", "198.51.100.1"),
    ],
)
def test_so_far_is_a_forwarded_address_believed(proxies: int, forwarded: str, address: str, settings: Any) -> None:
    settings.PROXIES = proxies
    assert address_of({"REMOTE_ADDR": "198.51.100.1", "HTTP_X_FORWARDED_FOR": forwarded}) == address


@pytest.mark.parametrize(
    ("connected", "address"),
    [
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("::ffff:198.51.100.1", "198.51.100.1"),
        ("", "unreadable"),
        ("unix:", "unreadable"),
    ],
)
def test_one_holders_addresses_are_one(connected: str, address: str) -> None:
    assert address_of({"REMOTE_ADDR": connected}) == address


@pytest.fixture
def away(settings: Any) -> Iterator[None]:
    """A cache that nobody serves."""
    backend = "django.core.cache.backends.redis.RedisCache"
    settings.CACHES = {"default": {"BACKEND": backend, "LOCATION": "unix:///nowhere/at-all.sock"}}
    yield
    caches.close_all()


def test_a_cache_that_is_away_stops_nobody_and_is_logged(
    away: None, rosa: Phone, caplog: pytest.LogCaptureFixture
) -> None:
    assert [rosa.get(BOILERS).status_code for _ in range(4)] == [200] * 4
    assert [bad("198.51.100.1").status_code for _ in range(4)] == [401] * 4
    assert "the cache does not answer" in caplog.text
    assert rosa.key not in caplog.text


def test_the_broker_serves_the_counters() -> None:
    made = ours._cache_settings(os.environ["REDIS_URL"])
    served = RedisCache(made["LOCATION"], {k: v for k, v in made.items() if k in ("KEY_PREFIX", "OPTIONS")})
    served.add("tests:limits", 0, 5)
    assert (served.incr("tests:limits"), served.incr("tests:limits")) == (1, 2)
    served.delete("tests:limits")


def test_without_a_broker_each_process_counts_for_itself() -> None:
    assert ours._cache_settings("")["BACKEND"].endswith("LocMemCache")


@pytest.mark.parametrize(("seconds", "wait"), [(0, 60), (0.5, 60), (1, 59), (59.5, 1)])
def test_the_wait_ends_with_the_minute(seconds: float, wait: int) -> None:
    assert limits.seconds_left(NOW + timedelta(seconds=seconds)) == wait


def test_the_document_tells_of_the_limit_everywhere() -> None:
    paths = Client().get("/api/schema/?format=json").json()["paths"]
    operations = [op for path, ops in paths.items() if "/v1/" in path for op in ops.values()]
    assert [op["operationId"] for op in operations if "429" not in op["responses"]] == []


def test_who_is_nobody_is_not_counted() -> None:
    assert RequestFactory().get("/").META["REMOTE_ADDR"] == "127.0.0.1"
    assert {Client().get("/api/docs/").status_code for _ in range(3)} == {200}
