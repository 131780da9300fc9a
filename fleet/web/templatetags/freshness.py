"""The notice that the worker has stopped."""

from django import template
from django.utils import timezone

from fleet.web import fresh

register = template.Library()


@register.simple_tag
def not_fresh() -> str:
    """Return the notice if the worker has stopped; "" if it runs."""
    return fresh.worker_notice(timezone.now())
