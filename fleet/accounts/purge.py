"""Removing rows whose retention is over."""

from datetime import datetime

from django.contrib.sessions.models import Session

from fleet.accounts import attempts, browser_sessions, idempotency, refused_posts
from fleet.accounts.models import Answered, Attempt, BrowserSession, RefusedPost


def purge_expired(*, at: datetime) -> int:
    """Remove expired rows; return how many. Readers ignore expired rows, so purging late or twice does no harm."""
    session_end = at - browser_sessions.session_age()
    expired = (
        Session.objects.filter(expire_date__lte=at),
        BrowserSession.objects.filter(last_used_at__lte=session_end),
        Answered.objects.filter(at__lte=at - idempotency.RETENTION),
        Attempt.objects.filter(last_at__lte=at - attempts.FORGET_AFTER),
        RefusedPost.objects.filter(at__lte=at - refused_posts.RETENTION),
    )
    return sum(rows.delete()[0] for rows in expired)
