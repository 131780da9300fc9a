"""The web server's log tells no secret address, no query, and nothing twice."""

import json
import logging
from collections.abc import Iterator
from datetime import timedelta
from io import StringIO
from types import SimpleNamespace
from typing import Any

import pytest
from gunicorn.config import Config

from fleet.logs import JsonLines
from fleet.management.embedded.weblog import Discreet

SECRETS = {
    "HTTP_AUTHORIZATION": "Bearer gg_secret",
    "HTTP_COOKIE": "sessionid=secret",
    "HTTP_REFERER": "/api/v1/calendars/secret.ics",
    "QUERY_STRING": "q=secret",
}


@pytest.fixture
def written() -> Iterator[Any]:
    """Log a request to a path, with the answer's headers; return the lines."""
    config, stream = Config(), StringIO()
    config.set("accesslog", "-")
    logger = Discreet(config)
    handlers = logger.access_log.handlers
    assert [type(h.formatter) for h in (*handlers, *logger.error_log.handlers)] == [JsonLines, JsonLines]
    handlers[0].setStream(stream)  # type: ignore[attr-defined]

    def write(path: str, *headers: tuple[str, str]) -> list[Any]:
        environ = {"RAW_URI": f"{path}?q=secret", "PATH_INFO": path, "REQUEST_METHOD": "GET", **SECRETS}
        answer = SimpleNamespace(status="200 OK", sent=1, headers=list(headers))
        logger.access(answer, SimpleNamespace(headers=[]), environ, timedelta(milliseconds=12))
        assert "secret" not in stream.getvalue()
        return [json.loads(line) for line in stream.getvalue().splitlines()]

    yield write
    for log in (logger.access_log, logger.error_log):
        log.handlers.clear()
        logging.Logger.manager.loggerDict.pop(log.name, None)


def test_the_secret_of_a_calendar_feed_is_left_out(written: Any) -> None:
    [line] = written("/api/v1/calendars/secret.ics")
    assert line["path"] == "/api/v1/calendars/…"


def test_a_static_file_is_told_with_its_address_and_time(written: Any) -> None:
    [line] = written("/static/web/board/board.css", ("Content-Type", "text/css"))
    assert (line["path"], line["method"], line["status"], line["milliseconds"]) == (
        "/static/web/board/board.css",
        "GET",
        200,
        12.0,
    )


def test_what_the_site_told_of_itself_is_not_told_again(written: Any) -> None:
    assert written("/api/v1/boilers/", ("X-Request-Id", "field-00001")) == []
