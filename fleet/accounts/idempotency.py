"""Answers to posts under an Idempotency-Key: stored in the transaction of the post, for a day.

Claim, verb and answer are one transaction, so a repeat finds all of it or nothing. An advisory lock, which the database
drops when the transaction ends, shows that the first post is still running.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection

from fleet.accounts.models import Answered, User
from fleet.errors import Refused

RETENTION = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class KeyedPost:
    """One post under a key, of a user on a route; `digest` is the SHA-256 of all that makes it the same post."""

    user: User
    route: str
    key: str
    digest: str

    @property
    def scope(self) -> str:
        """The SHA-256 of user, route and key: a key counts for one user and one route."""
        return hashlib.sha256(f"{self.user.pk}\n{self.route}\n{self.key}".encode()).hexdigest()


def claim_key(post: KeyedPost, at: datetime) -> Answered | None:
    """Claim the key until the transaction ends; return the stored answer, None where this is the first post.

    Raises Refused: 409 while the first post is running, 422 where that was another post, 409 where its answer held a
    secret and was not stored.
    """
    if not _try_lock(post.scope):
        raise Refused("idempotency_key_running", "The first post under this key is still being processed.", status=409)
    kept_answer = Answered.objects.filter(scope=post.scope, at__gt=at - RETENTION).first()
    if kept_answer is not None and kept_answer.digest != post.digest:
        raise Refused("idempotency_key_reused", "This key was used before with other content.", status=422)
    if kept_answer is not None and kept_answer.body is None:
        message = (
            "This was done. Its answer contained a secret that is shown only once and not stored. "
            "Revoke it and make another."
        )
        raise Refused("told_once", message, status=409)
    return kept_answer


def keep_answer(post: KeyedPost, *, status: int, body: bytes | None, headers: Mapping[str, str], at: datetime) -> None:
    """Store the answer of a claimed key; `body` is None where it holds a secret."""
    values = {"user": post.user, "digest": post.digest, "status": status, "body": body, "headers": dict(headers)}
    # An expired answer that was not purged yet is replaced.
    Answered.objects.update_or_create(scope=post.scope, defaults={**values, "at": at})


def _try_lock(scope: str) -> bool:
    number = int.from_bytes(bytes.fromhex(scope)[:8], signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [number])
        return bool(cursor.fetchone()[0])
