"""What a phone is told, encrypted so that only that phone can read it (RFC 8291)."""

import json

import http_ece  # type: ignore[import-untyped]
from cryptography.hazmat.primitives.asymmetric import ec

from fleet.notices.channels.contract import OutgoingMessage
from fleet.notices.channels.web_push.subscription import PushSubscription

# A push service has to take 4096 bytes (RFC 8030). Encrypting adds a head of 86, a tag of 16 and one byte.
MAX_BODY_BYTES = 4096
MAX_PAYLOAD_BYTES = MAX_BODY_BYTES - 86 - 16 - 1
CUT_MARK = "…"


def compose_push(message: OutgoingMessage) -> bytes:
    """Return what the phone's app gets: the notice's id, title and text, cut to what fits."""
    payload = _encode_fields(message, message.text)
    text = message.text
    while len(payload) > MAX_PAYLOAD_BYTES and text:
        # A letter may take 1 to 4 bytes and more with a backslash: what is too much in bytes is cut in letters.
        surplus = len(payload) - MAX_PAYLOAD_BYTES
        text = text[: max(len(text) - max(surplus // 6, 1), 0)]
        payload = _encode_fields(message, text + CUT_MARK)
    return payload


def _encode_fields(message: OutgoingMessage, text: str) -> bytes:
    fields = {"id": str(message.id), "title": message.subject, "text": text, "is_danger": message.is_danger}
    return json.dumps(fields, ensure_ascii=False, separators=(",", ":")).encode()


def encrypt_push(payload: bytes, subscription: PushSubscription) -> bytes:
    """Return the payload encrypted for one subscription, with a key that is used once."""
    encrypted = http_ece.encrypt(
        payload,
        private_key=ec.generate_private_key(ec.SECP256R1()),
        dh=subscription.point,
        auth_secret=subscription.auth,
        version="aes128gcm",
    )
    return bytes(encrypted)
