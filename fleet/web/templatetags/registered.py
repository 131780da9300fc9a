"""Filters for keys and values of the register."""

from typing import Any

from django import template

from fleet.engineering.units import UNITS
from fleet.sheets import change_sentences
from fleet.web.shared.number_format import SI, in_brief, is_number, reader_units

register = template.Library()


@register.filter
def called(key: str) -> str:
    """Return a key in words."""
    return change_sentences.key_in_words(key)


@register.filter
def valued(value: Any, key: str) -> str:
    """Return a value with its unit; if the reader chose SI, in SI with the value on record in brackets."""
    unit = change_sentences.unit_of(key).replace("²", "2")
    if is_number(value) and unit in UNITS and reader_units() == SI:
        return (
            f"{in_brief(value, unit)} ({change_sentences.value_in_words(key, value)})"
            if unit != "s"
            else change_sentences.value_in_words(key, value)
        )
    return change_sentences.value_in_words(key, value)
