"""The condition by which rows that hold from one instant to another are chosen."""

from typing import Any

from django.db.models import Q


def not_ended(at: Any) -> Q:
    """Return the condition of rows whose `until` is after `at` (an instant, or an expression for one) or open."""
    return Q(until=None) | Q(until__gt=at)
