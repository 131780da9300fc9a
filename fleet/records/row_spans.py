"""The condition by which rows that hold from one instant to another are chosen."""

from datetime import datetime

from django.db.models import Expression, OuterRef, Q


def not_ended(at: datetime | Expression | OuterRef) -> Q:
    """Return the condition of rows whose `until` is after `at` (an instant, or an expression for one) or open."""
    return Q(until=None) | Q(until__gt=at)
