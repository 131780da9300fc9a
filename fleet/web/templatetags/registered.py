"""Keys and values of the register in words, with their units."""

from typing import Any

from django import template

from fleet.portfolio import told

register = template.Library()


@register.filter
def called(key: str) -> str:
    """A key in words."""
    return told.called(key)


@register.filter
def valued(value: Any, key: str) -> str:
    """A value with its unit."""
    return told.valued(key, value)
