"""What the site is told of a request, and what is kept of its answer."""

import asyncio
import errno
from typing import Any

import pytest

from fleet.management.web_server import waiting_body
from fleet.management.web_server.site_call import call_site, environ_of
from fleet.management.web_server.waiting_body import FILE_ROOM_BYTES, BodyLimits, BodyReader, RequestRefused, new_body


def environ(path: str = "/", *headers: tuple[bytes, bytes], query: bytes = b"") -> dict[str, Any]:
    scope = {
        "method": "GET",
        "path": path,
        "query_string": query,
        "http_version": "1.1",
        "headers": list(headers),
        "server": ("127.0.0.1", 8000),
        "client": ("192.0.2.7", 5000),
    }
    with new_body() as body:
        return environ_of(scope, body, 3)


def test_a_header_with_an_underscore_never_takes_the_place_of_one_with_a_hyphen() -> None:
    told = environ("/", (b"x-forwarded-for", b"198.51.100.1"), (b"x_forwarded_for", b"203.0.113.9"))
    assert told["HTTP_X_FORWARDED_FOR"] == "198.51.100.1"


@pytest.mark.parametrize(
    ("name", "variable", "joined"),
    [(b"cookie", "HTTP_COOKIE", "a; b"), (b"accept", "HTTP_ACCEPT", "a,b"), (b"content-type", "CONTENT_TYPE", "a,b")],
)
def test_a_header_sent_twice_is_joined(name: bytes, variable: str, joined: str) -> None:
    assert environ("/", (name, b"a"), (name, b"b"))[variable] == joined


def test_the_length_is_that_of_the_body_that_came_whatever_was_announced() -> None:
    assert environ("/", (b"content-length", b"99"))["CONTENT_LENGTH"] == "3"


def test_the_address_of_the_client_and_the_bytes_of_a_path_are_told() -> None:
    told = environ("/hühner", query=b"q=%00\xff")
    assert (told["REMOTE_ADDR"], told["PATH_INFO"].encode("latin-1").decode()) == ("192.0.2.7", "/hühner")
    assert told["QUERY_STRING"] == "q=%00\xff"


@pytest.mark.parametrize(("status", "length"), [("200 OK", ["3"]), ("304 Not Modified", []), ("204 No Content", [])])
def test_an_answer_gets_its_length_where_it_may_have_a_body(status: str, length: list[str]) -> None:
    def site(_: Any, start: Any) -> list[bytes]:
        start(status, [])
        return [b"a", b"bc"] if length else []

    answer = call_site(site, {})
    with answer.body:
        assert [value for name, value in answer.headers if name == "Content-Length"] == length


@pytest.mark.parametrize(("free", "in_file"), [(FILE_ROOM_BYTES, True), (FILE_ROOM_BYTES - 1, False)])
def test_a_long_body_stays_in_memory_where_the_disk_has_no_room(
    free: int, in_file: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(waiting_body, "free_bytes", lambda folder: free)
    with new_body() as body:
        body.write(b"x" * 1_000_000)
        assert body._rolled is in_file  # type: ignore[attr-defined]  # where it is, nothing public says
        body.seek(0)
        assert len(body.read()) == 1_000_000


def test_a_body_for_which_the_room_ends_is_refused_and_no_longer_counted() -> None:
    class FullDisk:
        def write(self, _: bytes) -> None:
            raise OSError(errno.ENOSPC, "No space left on device")

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"abc", "more_body": True}

    reader = BodyReader(BodyLimits(body_bytes=100, waiting_bytes=100, silent_seconds=5, total_seconds=5))
    with pytest.raises(RequestRefused) as refused:
        asyncio.run(reader.read_body(receive, 0, FullDisk()))  # type: ignore[arg-type]
    assert refused.value.status == 503
    assert refused.value.code == "no_room"
    assert reader.waiting_bytes == 0
