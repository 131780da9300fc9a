"""What a browser hands over so that its phone can be told: a place to send to, and keys to encrypt for it."""

import base64
import json
from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric import ec

MAX_SUBSCRIPTION_LENGTH = 4000
POINT_BYTES, AUTH_BYTES = 65, 16  # RFC 8291


class UnfitSubscription(ValueError):
    """Raised for an address that is no subscription; its text is a sentence."""


@dataclass(frozen=True, slots=True)
class PushSubscription:
    """A subscription. `point` is the phone's public key, `auth` the secret that it shares with whoever may send."""

    endpoint: str
    point: bytes
    auth: bytes


def read_subscription(text: str) -> PushSubscription:
    """Return the subscription that a browser wrote as JSON. Raises UnfitSubscription. Its endpoint is not checked."""
    try:
        fields = json.loads(text if len(text) <= MAX_SUBSCRIPTION_LENGTH else "")
        keys, endpoint = fields["keys"], fields["endpoint"]
        subscription = PushSubscription(endpoint, _decode_key(keys["p256dh"]), _decode_key(keys["auth"]))
        lengths = (len(subscription.point), len(subscription.auth))
        if not isinstance(endpoint, str) or lengths != (POINT_BYTES, AUTH_BYTES):
            raise ValueError
        ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), subscription.point)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise UnfitSubscription("This is no subscription of a browser: subscribe again on the phone.") from None
    return subscription


def _decode_key(text: str) -> bytes:
    """Decode base64 with the letters of addresses, with or without its padding."""
    return base64.b64decode(text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4), altchars=b"-_", validate=True)
