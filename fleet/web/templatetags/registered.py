"""Filters for keys and values of the register."""

from typing import Any

from django import template

from fleet.engineering.units import UNITS
from fleet.portfolio import told
from fleet.web.figures import SI, brief, number, units

register = template.Library()


@register.filter
def called(key: str) -> str:
    """Return a key in words."""
    return told.called(key)


@register.filter
def valued(value: Any, key: str) -> str:
    """Return a value with its unit; if the reader chose SI, in SI with the value on record in brackets."""
    unit = told.unit_of(key).replace("²", "2")
    if number(value) and unit in UNITS and units() == SI:
        return f"{brief(value, unit)} ({told.valued(key, value)})" if unit != "s" else told.valued(key, value)
    return told.valued(key, value)
