"""Web push to a receiver on loopback that decrypts by RFC 8291 and verifies the site's token by RFC 8292.

That a browser maker's service delivers it is not tested.
"""

import base64
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from cryptography.exceptions import InvalidSignature, InvalidTag
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from hypothesis import given
from hypothesis import strategies as st

from fleet.deployment import UnfitDeployment
from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult, Receiver
from fleet.notices.channels.outbound.http_post import OutboundPolicy
from fleet.notices.channels.registry import make_channels
from fleet.notices.channels.settings import PushSettings, read_channel_settings
from fleet.notices.channels.web_push.push_payload import MAX_BODY_BYTES, compose_push, encrypt_push
from fleet.notices.channels.web_push.site_push_key import derive_push_key, public_key_text
from fleet.notices.channels.web_push.subscription import UnfitSubscription, read_subscription
from fleet.notices.channels.web_push.web_push_channel import WebPushChannel
from tests.notices.channels.loopback import AT, MESSAGE, message_with
from tests.notices.channels.webhook_receiver import ALLOWED, RequestBox, receiving

SENT, FAILED, REFUSED, UNKNOWN = DeliveryOutcome
SECRET = "a" * 20 + "b" * 30
SETTINGS = PushSettings(SECRET, "mailto:notices@boilers.example")


def encode(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def decode(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


@dataclass
class PushPhone:
    """A browser's side of a subscription, written from the standards and not with the site's library."""

    key: ec.EllipticCurvePrivateKey
    auth: bytes = bytes(range(16))

    @property
    def point(self) -> bytes:
        return self.key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)

    def subscription(self, endpoint: str) -> str:
        return json.dumps({"endpoint": endpoint, "keys": {"p256dh": encode(self.point), "auth": encode(self.auth)}})

    def decrypt(self, body: bytes) -> bytes:
        """Decrypt one record (RFC 8188, RFC 8291)."""
        salt, size, sender = body[:16], int.from_bytes(body[16:20], "big"), body[21 : 21 + body[20]]
        record = body[21 + body[20] :]
        assert len(record) <= size
        secret = self.key.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender))
        shared = hkdf(self.auth, secret, b"WebPush: info\0" + self.point + sender, 32)
        content_key = hkdf(salt, shared, b"Content-Encoding: aes128gcm\0", 16)
        nonce = hkdf(salt, shared, b"Content-Encoding: nonce\0", 12)
        padded = AESGCM(content_key).decrypt(nonce, record, None).rstrip(b"\0")
        assert padded[-1:] == b"\x02"  # the last record
        return padded[:-1]


def hkdf(salt: bytes, secret: bytes, info: bytes, length: int) -> bytes:
    return HKDF(hashes.SHA256(), length, salt, info).derive(secret)


@pytest.fixture
def phone() -> PushPhone:
    return PushPhone(ec.generate_private_key(ec.SECP256R1()))


def verified_claims(headers: Mapping[str, str]) -> dict[str, Any]:
    """Check the token's signature by the key beside it; return its claims with that key."""
    scheme, _, rest = headers["authorization"].partition(" ")
    parts = dict(part.strip().split("=", 1) for part in rest.split(","))
    signed, _, signature = parts["t"].rpartition(".")
    numbers = decode(signature)
    point = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), decode(parts["k"]))
    der = encode_dss_signature(int.from_bytes(numbers[:32], "big"), int.from_bytes(numbers[32:], "big"))
    point.verify(der, signed.encode(), ec.ECDSA(hashes.SHA256()))
    head, claims = (json.loads(decode(part)) for part in signed.split("."))
    assert (scheme, head["alg"], len(numbers)) == ("vapid", "ES256", 64)
    return {**claims, "key": parts["k"]}


def push(box: RequestBox, phone: PushPhone, **changes: Any) -> tuple[DeliveryResult, str]:
    """Send one message; return what came of it and the origin it went to."""
    with receiving(box.converse) as server:
        origin = f"http://127.0.0.1:{server.port}"
        receiver = Receiver(phone.subscription(f"{origin}/push/abc"))
        return WebPushChannel(SETTINGS, ALLOWED).send(message_with(**changes), receiver, AT), origin


def test_the_phone_of_these_tests_reads_the_example_of_the_standard() -> None:
    """RFC 8291, section 5."""
    number = int.from_bytes(decode("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"), "big")
    example = PushPhone(ec.derive_private_key(number, ec.SECP256R1()), decode("BTBZMqHH6r4Tts7J_aSIgg"))
    body = (
        "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBr"
        "u3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
    )
    assert example.decrypt(decode(body)) == b"When I grow up, I want to be a watermelon"


def test_the_phone_reads_what_it_is_told(phone: PushPhone) -> None:
    box = RequestBox(b"HTTP/1.1 201 Created\r\n\r\n")
    result, _ = push(box, phone)
    assert result.outcome is SENT
    assert json.loads(phone.decrypt(box.bodies[0])) == {
        "id": str(MESSAGE.id), "title": MESSAGE.subject, "text": MESSAGE.text, "is_danger": False
    }  # fmt: skip


def test_another_phone_cannot_read_it(phone: PushPhone) -> None:
    box = RequestBox()
    push(box, phone)
    with pytest.raises(InvalidTag):
        PushPhone(ec.generate_private_key(ec.SECP256R1())).decrypt(box.bodies[0])
    with pytest.raises(InvalidTag):
        replace(phone, auth=bytes(16)).decrypt(box.bodies[0])


def test_each_message_is_encrypted_with_a_key_and_salt_of_its_own(phone: PushPhone) -> None:
    subscription = read_subscription(phone.subscription("https://push.example/a"))
    bodies = [encrypt_push(b"the same", subscription) for _ in range(3)]
    assert len({body[:16] for body in bodies}) == len({body[21:86] for body in bodies}) == 3


def test_the_site_proves_itself_to_the_push_service(phone: PushPhone) -> None:
    box = RequestBox()
    _, origin = push(box, phone)
    claims = verified_claims(box.headers())
    assert claims["aud"] == origin
    assert claims["exp"] == (AT + timedelta(hours=12)).timestamp()
    assert claims["sub"] == "mailto:notices@boilers.example"
    assert claims["key"] == public_key_text(derive_push_key(SECRET))


def test_a_token_that_was_changed_does_not_verify(phone: PushPhone) -> None:
    box = RequestBox()
    push(box, phone)
    headers = box.headers()
    claims = headers["authorization"].split(".")[1]
    other = encode(json.dumps({**json.loads(decode(claims)), "aud": "https://other.example"}).encode())
    with pytest.raises(InvalidSignature):
        verified_claims({"authorization": headers["authorization"].replace(claims, other)})


@pytest.mark.parametrize(("is_danger", "urgency"), [(True, "high"), (False, "normal")])
def test_danger_wakes_the_phone_and_a_repeat_replaces_what_waits(
    phone: PushPhone, is_danger: bool, urgency: str
) -> None:
    box = RequestBox()
    push(box, phone, is_danger=is_danger)
    headers = box.headers()
    assert (headers["urgency"], headers["ttl"]) == (urgency, "86400")
    assert (headers["topic"], headers["content-encoding"]) == (MESSAGE.id.hex, "aes128gcm")
    assert len(headers["topic"]) <= 32  # RFC 8030


@pytest.mark.parametrize(
    ("status", "outcome"),
    [(201, SENT), (200, SENT), (202, SENT), (404, REFUSED), (410, REFUSED), (400, FAILED), (401, FAILED),
     (403, FAILED), (413, FAILED), (429, FAILED), (500, FAILED), (503, FAILED)],
)  # fmt: skip
def test_a_push_service_says_how_the_attempt_ended(phone: PushPhone, status: int, outcome: DeliveryOutcome) -> None:
    result, _ = push(RequestBox(f"HTTP/1.1 {status} x\r\nRetry-After: 60\r\n\r\n".encode()), phone)
    assert result.outcome is outcome
    assert result.retry_after == (timedelta(seconds=60) if status in (429, 503) else None)


@given(st.text(st.characters(codec="utf-8"), max_size=6000), st.text(st.characters(codec="utf-8"), max_size=250))
def test_however_long_a_text_is_what_is_sent_fits_and_can_be_read(text: str, subject: str) -> None:
    phone = PushPhone(ec.derive_private_key(12345, ec.SECP256R1()))
    body = encrypt_push(
        compose_push(message_with(text=text, subject=subject)),
        read_subscription(phone.subscription("https://push.example/a")),
    )
    assert len(body) <= MAX_BODY_BYTES
    assert json.loads(phone.decrypt(body))["title"] == subject


@pytest.mark.parametrize("letter", ["x", "ö", "煤", '"', "\n", "\U0001f525"])
def test_a_long_text_is_cut_and_says_so_and_uses_the_room(letter: str) -> None:
    payload = compose_push(message_with(text=letter * 5000))
    assert json.loads(payload)["text"].startswith(letter * 500)
    assert json.loads(payload)["text"].endswith("…")
    assert 3900 < len(payload) <= MAX_BODY_BYTES - 103


def test_the_key_is_the_same_for_the_same_secret_and_another_for_another() -> None:
    keys = [public_key_text(derive_push_key(secret)) for secret in (SECRET, SECRET, SECRET + "c")]
    assert [first == second for first, second in pairwise(keys)] == [True, False]
    assert len(decode(keys[0])) == 65


GOOD = PushPhone(ec.derive_private_key(7, ec.SECP256R1())).subscription("https://push.example/a")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "5",
        "{}",
        '{"endpoint": "https://push.example/a"}',
        GOOD.replace('"auth": "', '"auth": "AAAA'),
        GOOD.replace('"p256dh": "', '"p256dh": "AAAA'),
        GOOD.replace('"p256dh": "B', '"p256dh": "C'),
        GOOD.replace('"https://push.example/a"', "5"),
        GOOD.replace('"auth": "AAEC', '"auth": "A EC'),
        json.dumps({"endpoint": "https://push.example/" + "a" * 4000, "keys": json.loads(GOOD)["keys"]}),
        "[" * 3000,
    ],
)
def test_what_is_no_subscription_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(UnfitSubscription, match="subscribe again"):
        read_subscription(text)
    channel = WebPushChannel(SETTINGS)
    assert len(channel.address_faults(text)) == 1
    assert channel.send(MESSAGE, Receiver(text), AT).outcome is FAILED


@pytest.mark.parametrize(
    ("endpoint", "is_good"),
    [("https://push.example/a", True), ("http://push.example/a", False), ("https://127.0.0.1/a", False)],
)
def test_an_endpoint_is_an_address_that_the_site_sends_to(phone: PushPhone, endpoint: str, is_good: bool) -> None:
    channel = WebPushChannel(SETTINGS, OutboundPolicy(seconds=0.5, resolve=lambda name: []))
    assert (channel.address_faults(phone.subscription(endpoint)) == []) is is_good
    assert channel.send(MESSAGE, Receiver(phone.subscription(endpoint)), AT).outcome is FAILED


@pytest.mark.parametrize(
    ("environ", "contact"),
    [
        ({"GAUGEGLASS_MAIL": "smtp://127.0.0.1", "GAUGEGLASS_MAIL_FROM": "a@b.example"}, "mailto:a@b.example"),
        ({"GAUGEGLASS_ORIGINS": "http://a.example, https://b.example"}, "https://b.example"),
        ({}, ""),
    ],
)
def test_a_push_service_may_write_to_the_sender_of_mails_else_look_at_the_site(
    environ: dict[str, str], contact: str
) -> None:
    given_settings = read_channel_settings({"GAUGEGLASS_PUSH_KEY": SECRET, **environ})
    assert given_settings.push == PushSettings(SECRET, contact)
    assert "web_push" in make_channels(given_settings)


def test_without_a_key_no_phone_is_told_and_a_short_key_is_refused() -> None:
    assert "web_push" not in make_channels(read_channel_settings({}))
    with pytest.raises(UnfitDeployment, match="too short") as refusal:
        read_channel_settings({"GAUGEGLASS_PUSH_KEY": "secret"})
    assert "secret" not in str(refusal.value)
