"""The notice that the worker has stopped."""

from django import template
from django.utils import timezone

from fleet.web.shared import stale_notice

register = template.Library()


@register.simple_tag
def not_fresh() -> str:
    """Return the notice if the worker has stopped; "" if it runs."""
    return stale_notice.worker_notice(timezone.now())
