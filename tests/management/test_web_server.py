"""The web server as a real process: slow clients hold no thread, what is too large or too slow is refused, what dies
comes back."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.management.machine import CLEAN, ROOT, alive, command_lines, descendants, eventually, free_port

SLOW_CLIENTS = 200
HEAD = b"GET / HTTP/1.1\r\nHost: here\r\nX-Half: "
BODY = b"POST / HTTP/1.1\r\nHost: here\r\nContent-Length: 1000\r\n\r\nabc"


@dataclass
class Served:
    """A running server and what it has logged."""

    process: subprocess.Popen[bytes]
    port: int
    log: Path
    host: str = "127.0.0.1"

    def connect(self, sent: bytes = b"") -> socket.socket:
        """Open a connection and send something."""
        connection = socket.create_connection((self.host, self.port), timeout=20)
        connection.sendall(sent)
        return connection

    def answer_to(self, sent: bytes) -> bytes:
        """Send a whole request that closes its connection, and return all that comes back."""
        with self.connect(sent) as connection:
            return b"".join(iter(lambda: connection.recv(65536), b""))

    def get(self, path: str = "/") -> list[str]:
        """Return the words of an answer: process, length of the body, address of the client."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        with urllib.request.urlopen(f"http://{host}:{self.port}{path}", timeout=20) as answer:
            return str(answer.read().decode()).split()


def started(folder: Path, host: str = "127.0.0.1") -> Served:
    """Start a server and wait until it answers."""
    port, log = free_port(), folder / "web.log"
    with log.open("ab") as out:
        argv = [sys.executable, "-m", "tests.management.slow_site", host, str(port)]
        process = subprocess.Popen(argv, cwd=ROOT, env=CLEAN, stdout=out, stderr=out, start_new_session=True)
    served = Served(process, port, log, host)
    assert eventually(served.get, 60), log.read_text()
    return served


def stop(served: Served) -> None:
    """Stop a server and all of its group."""
    served.process.terminate()
    served.process.wait(30)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    server = started(tmp_path_factory.mktemp("web"))
    yield server
    stop(server)


def seconds_to_answer(served: Served) -> float:
    begun = time.monotonic()
    assert served.get()
    return time.monotonic() - begun


@pytest.mark.parametrize("half", [HEAD, BODY], ids=["half heads", "half bodies"])
def test_others_are_served_within_a_second_beside_slow_clients(served: Served, half: bytes) -> None:
    with ExitStack() as held:
        for _ in range(SLOW_CLIENTS):
            held.enter_context(served.connect(half))
        assert max(seconds_to_answer(served) for _ in range(10)) < 1


def test_readers_who_leave_large_answers_unread_hold_no_thread(served: Served) -> None:
    with ExitStack() as held:
        for _ in range(10):
            held.enter_context(served.connect(b"GET /large HTTP/1.1\r\nHost: here\r\n\r\n"))
        # Writing the answers takes a while on a busy machine; a thread that waited for its reader would take 30 s.
        assert eventually(lambda: seconds_to_answer(served) < 1, 20)


def test_a_body_that_falls_silent_is_answered_408_and_its_connection_closed(served: Served) -> None:
    begun = time.monotonic()
    answer = served.answer_to(BODY.replace(b"POST /", b"POST /api/"))
    head, _, body = answer.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 408 ")
    assert json.loads(body)["code"] == "too_slow"
    assert b"application/problem+json" in head
    assert 2.5 < time.monotonic() - begun < 10


def test_a_body_that_drips_is_answered_408_in_the_end(served: Served) -> None:
    with served.connect(BODY) as connection:
        connection.settimeout(0.5)
        answer, begun = b"", time.monotonic()
        while not answer and time.monotonic() - begun < 20:
            try:
                connection.sendall(b"a")
                answer = connection.recv(1000)
            except TimeoutError:
                continue
        assert answer.startswith(b"HTTP/1.1 408 ")
        assert 5 < time.monotonic() - begun < 15


@pytest.mark.parametrize("sent", [b"", b"GET / HTTP/1.1\r\nHost: here\r\n\r\n"], ids=["silent", "kept"])
def test_a_connection_on_which_nothing_comes_is_closed(served: Served, sent: bytes) -> None:
    begun = time.monotonic()
    with served.connect(sent) as connection:
        connection.settimeout(30)
        while connection.recv(65536):
            pass
    assert time.monotonic() - begun < 20


@pytest.mark.parametrize("path", ["/", "/api/v1/visits/", "/card/x/trouble/"])
@pytest.mark.parametrize("chunked", [False, True])
def test_a_body_over_the_limit_is_refused_without_being_kept(served: Served, path: str, chunked: bool) -> None:
    length, mb = 2 * 1024 * 1024 + 1, b"x" * 1024 * 1024
    way = "Transfer-Encoding: chunked" if chunked else f"Content-Length: {length}"
    head = f"POST {path} HTTP/1.1\r\nHost: here\r\n{way}\r\n\r\n".encode()
    parts = [b"100000\r\n" + mb + b"\r\n"] * 2 + [b"1\r\nx\r\n"] if chunked else []
    answer = served.answer_to(head + b"".join(parts))
    assert answer.startswith(b"HTTP/1.1 413 ")
    assert (b"application/problem+json" in answer) == path.startswith("/api/")
    assert ("guárdelo otra vez sin la foto".encode() in answer) == path.startswith("/card/")


def test_what_waits_in_all_is_bounded_and_counted_down_again(served: Served) -> None:
    big = b"POST / HTTP/1.1\r\nHost: here\r\nContent-Length: 2097152\r\n\r\n" + b"x" * 2_000_000
    with ExitStack() as held:
        waiting = [held.enter_context(served.connect(big)) for _ in range(24)]  # 48 MB for two workers of 8 MiB each
        refused = [each for each in waiting if each.recv(12) == b"HTTP/1.1 503"]
        assert refused
    assert eventually(lambda: served.get())
    assert b" 2097152 " in served.answer_to(
        b"POST / HTTP/1.1\r\nHost: here\r\nConnection: close\r\nContent-Length: 2097152\r\n\r\n" + b"x" * 2_097_152
    )


@pytest.mark.parametrize("size", [33_000, 100_000, 1_000_000])
def test_headers_that_are_too_large_are_refused(served: Served, size: int) -> None:
    try:
        answer = served.answer_to(b"GET /api/ HTTP/1.1\r\nHost: here\r\nX-Wide: " + b"a," * (size // 2) + b"\r\n\r\n")
    except ConnectionResetError:  # closed before all of it was sent
        return
    assert answer.startswith(b"HTTP/1.1 431 ")


def test_the_servers_own_bound_of_a_request_line_lies_above_that_of_the_site(served: Served) -> None:
    request = b"GET /?%s HTTP/1.1\r\nHost: here\r\nConnection: close\r\n\r\n"
    assert served.answer_to(request % (b"a" * 30_000)).startswith(b"HTTP/1.1 200 ")
    assert served.answer_to(request % (b"a" * 70_000)).startswith(b"HTTP/1.1 414 ")


@pytest.mark.parametrize("charset", ["utf-16", "unicode_escape", '"zlib"', "", "utf-8'x"])
def test_a_request_in_another_coding_never_reaches_the_site(served: Served, charset: str) -> None:
    head = f"POST /?q=a HTTP/1.1\r\nHost: here\r\nConnection: close\r\nContent-Type: text/plain; charset={charset}\r\n"
    assert served.answer_to(f"{head}Content-Length: 1\r\n\r\nx".encode()).startswith(b"HTTP/1.1 415 ")


@pytest.mark.parametrize("charset", ["utf-8", '"UTF-8"', "utf8; boundary=x"])
def test_a_request_that_says_it_is_utf_8_reaches_the_site(served: Served, charset: str) -> None:
    head = f"POST /?q=a HTTP/1.1\r\nHost: here\r\nConnection: close\r\nContent-Type: text/plain; Charset={charset}\r\n"
    assert served.answer_to(f"{head}Content-Length: 1\r\n\r\nx".encode()).startswith(b"HTTP/1.1 200 ")


def test_a_body_in_chunks_arrives_whole(served: Served) -> None:
    head = b"POST / HTTP/1.1\r\nHost: here\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n\r\n"
    assert b" 6 127.0.0.1" in served.answer_to(head + b"3\r\nabc\r\n3\r\ndef\r\n0\r\n\r\n")


def test_an_address_of_the_sixth_version_is_listened_on(tmp_path: Path) -> None:
    server = started(tmp_path, "::1")
    assert server.get()[2] == "::1"
    stop(server)


def test_a_worker_that_dies_comes_back(tmp_path: Path) -> None:
    server = started(tmp_path)
    before = set(descendants(server.process.pid))
    killed = int(server.get()[0])
    os.kill(killed, signal.SIGKILL)
    assert eventually(lambda: len(set(descendants(server.process.pid)) - {killed}) == len(before))
    assert eventually(lambda: {int(server.get()[0]) for _ in range(20)} - before)
    stop(server)


def test_a_request_in_progress_is_answered_before_the_end(tmp_path: Path) -> None:
    server = started(tmp_path)
    with server.connect(b"GET /slow HTTP/1.1\r\nHost: here\r\nConnection: close\r\n\r\n") as connection:
        time.sleep(0.5)
        server.process.terminate()
        assert b"HTTP/1.1 200 " in connection.recv(65536)
    assert server.process.wait(20) == 0


def test_no_worker_outlives_a_killed_server(tmp_path: Path) -> None:
    server = started(tmp_path)
    workers = descendants(server.process.pid)
    server.process.kill()
    server.process.wait()
    assert eventually(lambda: not alive(workers)), command_lines(alive(workers))
    with pytest.raises(OSError):
        server.connect()


def lines_of(served: Served, path: str) -> list[dict[str, Any]]:
    lines = map(json.loads, served.log.read_text().splitlines())
    return [line for line in lines if line.get("path") == path]


def test_every_line_of_the_log_is_an_object_and_what_the_site_did_not_log_is_logged_once(served: Served) -> None:
    served.get("/static/board.css?q=secret")
    assert eventually(lambda: lines_of(served, "/static/board.css"))
    [line] = lines_of(served, "/static/board.css")
    assert line["method"] == "GET"
    assert line["status"] == 200
    assert line["logger"] == "fleet.web_server"


def test_what_the_site_logged_itself_is_not_logged_again_and_no_secret_is(served: Served) -> None:
    served.get("/logged/")
    served.get("/api/v1/calendars/secret.ics")
    assert eventually(lambda: lines_of(served, "/api/v1/calendars/…"))
    assert lines_of(served, "/logged/") == []
    assert "secret" not in served.log.read_text()
