"""The watcher outside is called while all is well and hears silence otherwise; a call never takes long."""

import logging
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from fleet.heartbeats.services import LATE_AFTER, PARTS, WATCHER_CALLED, WATCHER_FAILED, note_heartbeat, read_heartbeats
from fleet.heartbeats.watcher_call import call_watcher, call_watcher_if_well
from tests.cast import NOW
from tests.heartbeats.receivers import OK, Receiver, answer_with, hang, receiver, send_without_end, trickle
from tests.management.machine import free_port

SECONDS = 0.6
REDIRECT = b"HTTP/1.1 302 Found\r\nLocation: /elsewhere\r\nContent-Length: 0\r\n\r\n"


@pytest.mark.parametrize(
    ("answer", "failure"),
    [
        (answer_with(OK), ""),
        (answer_with(b"HTTP/1.1 204 No Content\r\n\r\n"), ""),
        (answer_with(b"HTTP/1.1 500 Oh\r\nContent-Length: 0\r\n\r\n"), "answered 500"),
        (answer_with(b"HTTP/1.1 404 No\r\nContent-Length: 0\r\n\r\n"), "answered 404"),
        (answer_with(REDIRECT), "answered 302"),
        (answer_with(b""), "no answer"),
        (answer_with(b"HTT"), "no answer"),
        (answer_with(b"\x00" * 200_000), "no answer"),
        (send_without_end, ""),
        (hang, "no answer in time"),
        (trickle, "no answer in time"),
    ],
)
def test_a_call_ends_in_time_and_says_how_it_went(
    answer: Callable[[Receiver, socket.socket], None], failure: str
) -> None:
    with receiver(answer) as running:
        began = time.monotonic()
        assert call_watcher(running.url("/quiet-secret?of=boilers"), SECONDS) == failure
        assert time.monotonic() - began < SECONDS + 2
        assert running.requests == ["GET /quiet-secret?of=boilers HTTP/1.1"]  # once, and no redirect followed


def test_nobody_who_listens_is_told_apart() -> None:
    assert call_watcher(f"http://127.0.0.1:{free_port()}/", SECONDS) == "connection refused"


def test_a_name_that_leads_nowhere_is_no_answer() -> None:
    assert call_watcher("http://watch.invalid/", SECONDS) == "no answer"


def test_a_certificate_that_nobody_vouches_for_ends_the_call_before_anything_is_asked(tmp_path: Path) -> None:
    files = [tmp_path / "key.pem", tmp_path / "cert.pem"]
    argv = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=localhost", "-days", "2"]
    subprocess.run([*argv, "-keyout", files[0], "-out", files[1]], check=True, capture_output=True)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(files[1], files[0])
    heard: list[bytes] = []

    def answer_securely(_: Receiver, client: socket.socket) -> None:
        raise AssertionError("a request came in the clear")

    with socket.create_server(("127.0.0.1", 0)) as server, receiver(answer_securely) as running:

        def serve() -> None:
            client, _ = server.accept()
            try:
                with context.wrap_socket(client, server_side=True) as secure:
                    heard.append(secure.recv(100))
            except OSError:
                pass

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        url = f"https://localhost:{server.getsockname()[1]}/quiet-secret"
        assert call_watcher(url, SECONDS) == "no secure connection"
        thread.join(5)
        assert (heard, running.requests) == ([], [])


@pytest.fixture
def well(db: None) -> None:
    """Every part was seen at NOW."""
    for part in PARTS:
        note_heartbeat(part, NOW)


@pytest.mark.usefixtures("well")
@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize(
    ("age", "calls"), [(LATE_AFTER - timedelta(seconds=1), 1), (LATE_AFTER, 1), (LATE_AFTER + timedelta(seconds=1), 0)]
)
def test_the_watcher_hears_silence_as_soon_as_one_part_is_late(part: str, age: timedelta, calls: int) -> None:
    note_heartbeat(part, NOW - age)
    with receiver(answer_with(OK)) as running:
        call_watcher_if_well(running.url(), at=NOW)
        assert len(running.requests) == calls
    assert (WATCHER_CALLED in read_heartbeats()) is bool(calls)


@pytest.mark.django_db
def test_while_nothing_is_known_the_watcher_is_not_called() -> None:
    with receiver(answer_with(OK)) as running:
        call_watcher_if_well(running.url(), at=NOW)
        assert running.requests == []
    assert read_heartbeats() == {}


@pytest.mark.usefixtures("well")
def test_a_call_that_fails_is_noted_with_its_reason_and_the_next_that_succeeds_beside_it(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.DEBUG)
    with receiver(answer_with(b"HTTP/1.1 503 Busy\r\nContent-Length: 0\r\n\r\n")) as running:
        call_watcher_if_well(running.url(), at=NOW)
    failed = read_heartbeats()[WATCHER_FAILED]
    assert (failed.seen_at, failed.detail) == (NOW, "answered 503")
    assert WATCHER_CALLED not in read_heartbeats()
    with receiver(answer_with(OK)) as running:
        call_watcher_if_well(running.url(), at=NOW + timedelta(seconds=60))
    assert read_heartbeats()[WATCHER_CALLED].seen_at == NOW + timedelta(seconds=60)
    assert "quiet-secret" not in caplog.text  # the address may be all that a stranger needs to keep the watcher quiet
