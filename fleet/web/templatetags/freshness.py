"""The notice that the disk is full or the worker has stopped."""

from datetime import datetime

from django import template
from django.utils import timezone

from fleet.accounts.models import User
from fleet.web.shared import stale_notice

register = template.Library()


@register.simple_tag
def not_fresh() -> str:
    """Return the notice if the disk is full or the worker has stopped; "" otherwise."""
    return stale_notice.site_notice(timezone.now())


@register.simple_tag
def board_not_fresh(user: User, at: datetime) -> str:
    """Return the notice for a board as of `at`, "" if nothing on it is behind."""
    return stale_notice.board_notice(user, at)
