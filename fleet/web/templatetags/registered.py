"""Filters for keys and values of the register."""

from typing import Any

from django import template

from fleet.engineering.units import UNITS
from fleet.portfolio import told
from fleet.web.figures import SI, in_brief, is_number, reader_units

register = template.Library()


@register.filter
def called(key: str) -> str:
    """Return a key in words."""
    return told.key_in_words(key)


@register.filter
def valued(value: Any, key: str) -> str:
    """Return a value with its unit; if the reader chose SI, in SI with the value on record in brackets."""
    unit = told.unit_of(key).replace("²", "2")
    if is_number(value) and unit in UNITS and reader_units() == SI:
        return (
            f"{in_brief(value, unit)} ({told.value_in_words(key, value)})"
            if unit != "s"
            else told.value_in_words(key, value)
        )
    return told.value_in_words(key, value)
