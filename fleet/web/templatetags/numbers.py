"""Filters for numbers and choices on the pages of calculations."""

from collections.abc import Sequence
from typing import Any

from django import template

from fleet.engineering.fuels import FUELS
from fleet.engineering.units import UNITS
from fleet.web.shared.number_format import in_brief as briefly
from fleet.web.shared.number_format import in_reader_units, to_figures, with_si

register = template.Library()


@register.filter
def spoken(choice: str) -> str:
    """Return a choice in words; a unit as it is written."""
    if choice in UNITS:
        return choice
    return FUELS[choice].name if choice in FUELS else choice.replace("_", " ")


@register.filter
def us_si(value: float, unit: str) -> str:
    """Return a value in the reader's units; by default US units with SI in brackets: "8 psi (55.2 kPa)"."""
    return str(in_reader_units(value, unit, 3))


@register.filter
def units(sentence: Any) -> str:
    """Return a sentence of the rules; if the reader chose SI, with SI after each quantity."""
    return with_si(sentence)


@register.filter
def as_read(value: object, unit: str) -> str:
    """Return a reading as it was read; if the reader chose SI, in SI with the original in brackets."""
    text = f"{value} {unit}".strip()
    si = _si_of(value, unit)
    return f"{si} ({text})" if si else text


def _si_of(value: object, unit: str) -> str:
    try:
        text = briefly(float(str(value).replace(",", "")), unit) if unit in UNITS else ""
    except ValueError:
        return ""
    return text if not text.endswith(f" {unit}") else ""


@register.filter
def figure(value: float) -> str:
    """Return a number to three significant figures, without a unit."""
    return to_figures(value, 3)


@register.filter
def nth(items: Sequence[str], index: int) -> str:
    """Return the item at `index`, from 0."""
    return items[index]


@register.filter
def ladder_word(verdict: str) -> str:
    """Return the verdict on a ladder in words; unknown set points are never called good."""
    return {"good": "Set points in order", "unknown": "Not known"}.get(verdict) or verdict.capitalize()
