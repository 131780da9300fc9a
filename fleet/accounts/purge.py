"""What is kept for a while only, and goes by itself."""

from datetime import datetime

from fleet.accounts import attempts, idempotency, refused
from fleet.accounts.models import Answered, Attempt, RefusedPost


def purge(*, at: datetime) -> int:
    """Remove what has had its time; return how many rows. Late, twice or never: nobody reads what has expired."""
    expired = (
        Answered.objects.filter(at__lte=at - idempotency.KEPT),
        Attempt.objects.filter(last_at__lte=at - attempts.FORGOTTEN),
        RefusedPost.objects.filter(at__lte=at - refused.KEPT),
    )
    return sum(rows.delete()[0] for rows in expired)
