"""The web server's log tells no secret address."""

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from gunicorn.config import Config

from fleet.management.embedded.weblog import Discreet


def line(path: str) -> dict[str, Any]:
    """What a request to this path is logged with."""
    environ = {"RAW_URI": path, "PATH_INFO": path, "REQUEST_METHOD": "GET", "SERVER_PROTOCOL": "HTTP/1.1"}
    answer = SimpleNamespace(status="200 OK", sent=1, headers=[])
    asked = SimpleNamespace(headers=[])
    return Discreet(Config()).atoms(answer, asked, {**environ, "HTTP_REFERER": path}, timedelta(0))


def test_the_secret_of_a_calendar_feed_is_left_out() -> None:
    told = line("/api/v1/calendars/s3cret-of-henk.ics")
    assert "s3cret" not in "".join(str(v) for v in told.values() if v)
    assert told["U"] == "/api/v1/calendars/…"


@pytest.mark.parametrize("path", ["/", "/api/v1/visits/", "/api/v1/calendar-feeds/"])
def test_any_other_address_is_told_as_it_is(path: str) -> None:
    assert line(path)["U"] == path
