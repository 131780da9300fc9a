"""What a webhook holds, and that its receiver can verify it with the library of the scheme."""

import base64
import json
from datetime import UTC, datetime, timedelta, timezone

import pytest
from standardwebhooks import Webhook, WebhookVerificationError

from fleet.notices.channels.contract import DeliveryResult, Receiver
from fleet.notices.channels.webhook.signed_payload import compose_payload, make_secret, signature_headers
from fleet.notices.channels.webhook.webhook_channel import WebhookChannel
from tests.notices.channels.loopback import AT, MESSAGE
from tests.notices.channels.webhook_receiver import (
    ALLOWED,
    FAILED,
    NEW,
    OLD,
    SENT,
    RequestBox,
    receiving,
    send,
)


def test_a_receiver_gets_the_notice_signed_and_can_verify_it_with_the_scheme_s_library() -> None:
    box, now = RequestBox(), datetime.now(UTC)
    with receiving(box.converse) as server:
        receiver = Receiver(f"http://127.0.0.1:{server.port}/hook?a=1", (NEW,))
        result = WebhookChannel(ALLOWED).send(MESSAGE, receiver, now)
    assert result == DeliveryResult(SENT, "The receiver answered 200.")
    assert box.heads[0].startswith("POST /hook?a=1 HTTP/1.1\r\n")
    payload = Webhook(NEW).verify(box.bodies[0], box.headers())
    assert (payload["type"], payload["timestamp"]) == ("alert.raised", "2026-01-15T12:00:00+00:00")
    assert payload["data"]["id"] == str(MESSAGE.id)
    assert payload["data"]["standing"] == "hold"


def test_while_a_secret_is_replaced_the_old_and_the_new_one_verify_and_no_third() -> None:
    now = datetime.now(UTC)
    body = compose_payload(MESSAGE)
    headers = signature_headers(MESSAGE, body, (NEW, OLD), now)
    assert len(headers["webhook-signature"].split()) == 2
    for secret in (NEW, OLD):
        Webhook(secret).verify(body, headers)
    with pytest.raises(WebhookVerificationError):
        Webhook(make_secret()).verify(body, headers)


@pytest.mark.parametrize(
    ("age", "is_good"),
    [
        (timedelta(minutes=4, seconds=50), True),
        (timedelta(minutes=5, seconds=10), False),
        (-timedelta(minutes=4, seconds=50), True),
        (-timedelta(minutes=5, seconds=10), False),
    ],
)
def test_the_library_s_replay_window_is_five_minutes(age: timedelta, is_good: bool) -> None:
    body = compose_payload(MESSAGE)
    headers = signature_headers(MESSAGE, body, (NEW,), datetime.now(UTC) - age)
    if is_good:
        Webhook(NEW).verify(body, headers)
    else:
        with pytest.raises(WebhookVerificationError):
            Webhook(NEW).verify(body, headers)


def test_a_changed_body_and_a_changed_id_do_not_verify() -> None:
    body = compose_payload(MESSAGE)
    headers = signature_headers(MESSAGE, body, (NEW,), datetime.now(UTC))
    for changed_body, changed_headers in [(body + " ", headers), (body, {**headers, "webhook-id": "other"})]:
        with pytest.raises(WebhookVerificationError):
            Webhook(NEW).verify(changed_body, changed_headers)


def test_attempts_share_id_and_body_and_each_has_its_own_time() -> None:
    box = RequestBox(b"HTTP/1.1 500 No\r\n\r\n")
    with receiving(box.converse) as server:
        channel, receiver = WebhookChannel(ALLOWED), Receiver(f"http://127.0.0.1:{server.port}/", (NEW,))
        sent_headers = []
        for at in (AT, AT + timedelta(minutes=1)):
            channel.send(MESSAGE, receiver, at)
            sent_headers.append(box.headers())
    first, second = sent_headers
    assert box.bodies[0] == box.bodies[1]
    assert first["webhook-id"] == second["webhook-id"] == str(MESSAGE.id)
    assert int(second["webhook-timestamp"]) - int(first["webhook-timestamp"]) == 60
    assert int(first["webhook-timestamp"]) == AT.timestamp()


@pytest.mark.parametrize("zone_hours", [-5, 0, 9])
def test_the_signature_holds_whatever_zone_the_time_of_the_attempt_is_given_in(zone_hours: int) -> None:
    at = datetime.now(timezone(timedelta(hours=zone_hours)))
    body = compose_payload(MESSAGE)
    Webhook(NEW).verify(body, signature_headers(MESSAGE, body, (NEW,), at))


def test_a_secret_has_the_form_of_the_scheme_and_256_random_bits() -> None:
    assert len(base64.b64decode(make_secret().removeprefix("whsec_"))) == 32
    assert len({make_secret() for _ in range(100)}) == 100


def test_what_somebody_wrote_stays_inside_the_body() -> None:
    box = RequestBox()
    with receiving(box.converse) as server:
        send(server.port, subject="Hold\r\nX-Bad: 1", text="Ünïcode \u2028 煤气")
    assert "x-bad" not in box.headers()
    assert json.loads(box.bodies[0])["data"]["text"] == "Ünïcode \u2028 煤气"


def test_without_a_secret_nothing_is_sent() -> None:
    with receiving(RequestBox().converse) as server:
        receiver = Receiver(f"http://127.0.0.1:{server.port}/")
        assert WebhookChannel(ALLOWED).send(MESSAGE, receiver, AT).outcome is FAILED
    assert server.connections == 0
