"""Whether what stands on a page is as new as it should be."""

from django import template
from django.utils import timezone

from fleet.web import fresh

register = template.Library()


@register.simple_tag
def not_fresh() -> str:
    """What to say of a worker that stands still; nothing where it runs."""
    return fresh.words(timezone.now())
