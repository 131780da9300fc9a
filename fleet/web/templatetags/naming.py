"""What is said of the people whom another's post names."""

from django import template

from fleet.assessments.models import Waiting
from fleet.assessments.named_words import waiting_sentence

register = template.Library()


@register.filter
def waiting_names(waiting: Waiting) -> str:
    """Return whose word a visit waits for, and what it counts as until then."""
    return waiting_sentence(waiting.visit, waiting)
