"""The secret in a card's address: random, signed by the site, and stored as its hash only.

What the site did not sign is known to be a guess before anything is looked up.
"""

import base64
import binascii
import hashlib
import hmac
import secrets

from django.utils.crypto import salted_hmac

RANDOM_BYTES, SIGNATURE_BYTES = 20, 13
SECRET_LENGTH = 44  # characters of base64 for both together
_SALT = "fleet.cards.addresses"
_KEY_MARK_SALT = "fleet.cards.addresses.key_mark"


def make_secret() -> str:
    """Return the secret of a new card, for its address."""
    content = secrets.token_bytes(RANDOM_BYTES)
    return base64.urlsafe_b64encode(content + _sign_content(content)).decode()


def is_signed(secret: str) -> bool:
    """Return whether this site made the secret; whether its card is in force is another question."""
    if len(secret) != SECRET_LENGTH:
        return False
    try:
        content = base64.b64decode(secret.encode("ascii"), altchars=b"-_", validate=True)
    except (UnicodeEncodeError, binascii.Error):
        return False
    return hmac.compare_digest(content[RANDOM_BYTES:], _sign_content(content[:RANDOM_BYTES]))


def digest_of(secret: str) -> str:
    """Return what is stored of a secret. A salt would add nothing to so many random bits."""
    return hashlib.sha256(secret.encode()).hexdigest()


def key_mark() -> str:
    """Return what tells the site's signing key from another one, and nothing of the key itself."""
    return salted_hmac(_KEY_MARK_SALT, "", algorithm="sha256").hexdigest()[:16]


def _sign_content(content: bytes) -> bytes:
    return salted_hmac(_SALT, content, algorithm="sha256").digest()[:SIGNATURE_BYTES]
