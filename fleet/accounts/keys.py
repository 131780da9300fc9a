"""Making and checking bearer keys."""

import hashlib
import secrets
from datetime import datetime

from fleet.accounts.models import Key, User


def make(*, user: User, name: str, expires_at: datetime, secret: str = "") -> str:
    """Return a new key, shown this once; only its hash is kept. `secret` fixes the key of a demonstration site."""
    secret = secret or f"gg_{secrets.token_urlsafe(32)}"
    Key.objects.update_or_create(
        digest=_digest(secret), defaults={"user": user, "name": name, "expires_at": expires_at, "revoked_at": None}
    )
    return secret


def owner(secret: str, at: datetime) -> User | None:
    """Return whose key this is, None if it is unknown, expired or revoked, or if that person is gone."""
    found = Key.objects.select_related("user").filter(digest=_digest(secret), revoked_at=None, expires_at__gt=at)
    key = found.first()
    return key.user if key and key.user.is_active else None


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
