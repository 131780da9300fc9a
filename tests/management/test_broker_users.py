"""The site's own user at the broker does what its programs need, and can neither steer nor empty it."""

import json
from collections.abc import Iterator

import pytest
import redis

from fleet.management.embedded import TemporaryServers, broker, temporary

ADMIN_COMMANDS = [
    ("CONFIG", "GET", "*"),
    ("CONFIG", "SET", "dir", "/tmp"),
    ("CONFIG", "SET", "dbfilename", "authorized_keys"),
    ("CONFIG", "REWRITE"),
    ("ACL", "LIST"),
    ("ACL", "SETUSER", "gaugeglass", "+@all"),
    ("SAVE",),
    ("BGREWRITEAOF",),
    ("REPLICAOF", "127.0.0.1", "1"),
    ("MODULE", "LIST"),
    ("FUNCTION", "LOAD", "#!lua name=x"),
    ("SCRIPT", "FLUSH"),
    ("MONITOR",),
    ("CLIENT", "LIST"),
    ("CLIENT", "KILL", "TYPE", "normal"),
    ("CLIENT", "PAUSE", "60000"),
    ("FLUSHALL",),
    ("FLUSHDB",),
    ("SWAPDB", "0", "1"),
    ("KEYS", "*"),
    ("SHUTDOWN", "NOSAVE"),
    ("INFO",),
    ("SLOWLOG", "GET"),
]


@pytest.fixture(scope="module")
def servers() -> Iterator[TemporaryServers]:
    with temporary() as started:
        yield started


@pytest.mark.parametrize("command", ADMIN_COMMANDS, ids=" ".join)
def test_the_sites_user_may_not(servers: TemporaryServers, command: tuple[str, ...]) -> None:
    with broker.connect_to_broker(servers.redis_url) as client, pytest.raises(redis.exceptions.NoPermissionError):
        client.execute_command(*command)


@pytest.mark.parametrize(
    "command", [("CONFIG", "GET", "dir"), ("FLUSHALL",), ("ACL", "SETUSER", "gaugeglass", "+@all")]
)
def test_nor_does_a_script_of_its_own(servers: TemporaryServers, command: tuple[str, ...]) -> None:
    words = ", ".join(f"'{word}'" for word in command)
    with broker.connect_to_broker(servers.redis_url) as client, pytest.raises(redis.exceptions.ResponseError):
        client.eval(f"return redis.call({words})", 0)


def test_the_user_without_a_name_has_a_password_of_its_own(servers: TemporaryServers) -> None:
    keys = json.loads((servers.folder / "keys.json").read_text())
    assert keys["broker"] != keys["broker_site"]
    assert keys["broker"] not in servers.redis_url
    with pytest.raises(redis.exceptions.AuthenticationError):
        broker.connect_to_broker(servers.redis_url.replace(f"{broker.SITE_USER}:", ":")).ping()


def test_the_sites_user_queues_locks_counts_and_listens(servers: TemporaryServers) -> None:
    with broker.connect_to_broker(servers.redis_url) as client:
        client.lpush("queue", "task")
        assert client.brpop(["queue"], timeout=1) == (b"queue", b"task")
        assert client.incr("counted") == 1
        with client.lock("locked", timeout=5):  # released by a script
            assert client.exists("locked")
        with client.pubsub() as listener:
            listener.psubscribe("news*")
            assert listener.get_message(timeout=1)
