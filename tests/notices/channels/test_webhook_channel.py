"""What a receiver's answer to a webhook means."""

import time
from datetime import timedelta

import pytest

from fleet.notices.channels.contract import DeliveryOutcome
from fleet.notices.channels.outbound.retry_time import read_retry_after
from tests.notices.channels.loopback import AT
from tests.notices.channels.webhook_receiver import (
    FAILED,
    REFUSED,
    SENT,
    RequestBox,
    receiving,
    send,
)


@pytest.mark.parametrize(
    ("status", "outcome"),
    [(200, SENT), (201, SENT), (202, SENT), (204, SENT), (299, SENT), (410, REFUSED), (400, FAILED), (401, FAILED),
     (404, FAILED), (408, FAILED), (429, FAILED), (500, FAILED), (502, FAILED), (503, FAILED), (599, FAILED)],
)  # fmt: skip
def test_a_status_says_how_the_attempt_ended(status: int, outcome: DeliveryOutcome) -> None:
    with receiving(RequestBox(f"HTTP/1.1 {status} x\r\n\r\n".encode()).converse) as server:
        result = send(server.port)
    assert result.outcome is outcome
    assert str(status) in result.answer


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
@pytest.mark.parametrize("place", ["http://169.254.169.254/latest/", "http://127.0.0.1:{port}/inside", "/inside"])
def test_a_redirect_is_never_followed(status: int, place: str) -> None:
    box = RequestBox()
    with receiving(box.converse) as server:
        location = place.format(port=server.port)
        box.answer = f"HTTP/1.1 {status} x\r\nLocation: {location}\r\nContent-Length: 0\r\n\r\n".encode()
        result = send(server.port)
        time.sleep(0.05)
    assert (result.outcome, result.answer) == (FAILED, f"The receiver answered {status}: a redirect is not followed.")
    assert server.connections == 1


@pytest.mark.parametrize(
    ("status", "pause"), [(429, timedelta(seconds=120)), (503, timedelta(seconds=120)), (500, None), (200, None)]
)
def test_a_receiver_that_asks_for_a_pause_is_heard(status: int, pause: timedelta | None) -> None:
    with receiving(RequestBox(f"HTTP/1.1 {status} x\r\nRetry-After: 120\r\n\r\n".encode()).converse) as server:
        assert send(server.port).retry_after == pause


@pytest.mark.parametrize(
    ("text", "pause"),
    [
        ("0", timedelta(0)),
        ("3599", timedelta(seconds=3599)),
        ("3600", timedelta(hours=1)),
        ("3601", timedelta(hours=1)),
        ("999999999", timedelta(hours=1)),
        ("9" * 400, None),
        ("-5", None),
        ("soon", None),
        ("", None),
        ("Thu, 15 Jan 2026 12:31:00 GMT", timedelta(minutes=1)),
        ("Thu, 15 Jan 2026 12:29:00 GMT", timedelta(0)),
        ("Fri, 15 Jan 2027 12:30:00 GMT", timedelta(hours=1)),
        ("Thu, 99 Jan 2026 12:30:00 GMT", None),
    ],
)
def test_the_pause_asked_for_is_bounded(text: str, pause: timedelta | None) -> None:
    assert read_retry_after(text, AT) == pause
