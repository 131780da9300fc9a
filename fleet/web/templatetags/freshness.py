"""The notice that the disk is full or the worker has stopped."""

from django import template
from django.utils import timezone

from fleet.web.shared import stale_notice

register = template.Library()


@register.simple_tag
def not_fresh() -> str:
    """Return the notice if the disk is full or the worker has stopped; "" otherwise."""
    return stale_notice.site_notice(timezone.now())
