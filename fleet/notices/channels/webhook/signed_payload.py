"""The body of a webhook and its signatures, by the Standard Webhooks scheme."""

import base64
import json
import secrets
from collections.abc import Sequence
from datetime import UTC, datetime

from standardwebhooks import Webhook

from fleet.notices.channels.contract import OutgoingMessage

SECRET_BYTES = 32  # the scheme asks for 24 to 64
SECRET_PREFIX = "whsec_"


def make_secret() -> str:
    """Return a new secret for a receiver, in the form of the scheme."""
    return SECRET_PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def compose_payload(message: OutgoingMessage) -> str:
    """Return the body: type, time of the notice and its data. Every attempt has the same body."""
    data = {
        **message.data,
        "id": str(message.id),
        "level": message.level,
        "is_danger": message.is_danger,
        "subject": message.subject,
        "text": message.text,
    }
    if message.answer_url:
        data["answer_url"] = message.answer_url
    payload = {"type": message.kind, "timestamp": message.created_at.astimezone(UTC).isoformat(), "data": data}
    return json.dumps(payload, ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def signature_headers(message: OutgoingMessage, body: str, signers: Sequence[str], at: datetime) -> dict[str, str]:
    """Return the headers by which a receiver knows the message, its attempt and its sender.

    Each secret gives one signature: while a secret is replaced, the receiver may check by the old or the new one.
    """
    # The library reads the figures of a time as if they were UTC's, whatever its zone.
    signatures = [Webhook(secret).sign(str(message.id), at.astimezone(UTC), body) for secret in signers]
    return {
        "webhook-id": str(message.id),
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(signatures),
    }
