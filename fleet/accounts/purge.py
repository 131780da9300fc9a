"""Removing rows whose retention is over."""

from datetime import datetime

from fleet.accounts import attempts, idempotency, refused_posts
from fleet.accounts.models import Answered, Attempt, RefusedPost


def purge_expired(*, at: datetime) -> int:
    """Remove expired rows; return how many. Readers ignore expired rows, so purging late or twice does no harm."""
    expired = (
        Answered.objects.filter(at__lte=at - idempotency.RETENTION),
        Attempt.objects.filter(last_at__lte=at - attempts.FORGET_AFTER),
        RefusedPost.objects.filter(at__lte=at - refused_posts.RETENTION),
    )
    return sum(rows.delete()[0] for rows in expired)
