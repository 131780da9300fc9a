"""Numbers and choices as they are said on the pages of calculations."""

from collections.abc import Sequence
from typing import Any

from django import template

from fleet.engineering.fuels import FUELS
from fleet.engineering.units import UNITS
from fleet.web.figures import brief as briefly
from fleet.web.figures import figures, shown, with_si

register = template.Library()


@register.filter
def spoken(choice: str) -> str:
    """A choice in words; a unit as it is written."""
    if choice in UNITS:
        return choice
    return FUELS[choice].name if choice in FUELS else choice.replace("_", " ")


@register.filter
def us_si(value: float, unit: str) -> str:
    """In the reader's units, by default the trade's with SI in brackets: "8 psi (55.2 kPa)"."""
    return str(shown(value, unit, 3))


@register.filter
def brief(value: float, unit: str) -> str:
    """In one unit alone: the trade's, or SI for who chose it."""
    return briefly(value, unit)


@register.filter
def units(sentence: Any) -> str:
    """A sentence of the rules, for who chose SI with SI behind each quantity."""
    return with_si(sentence)


@register.filter
def as_read(value: Any, unit: str) -> str:
    """What was read, as it was read; for who chose SI in SI with that in brackets."""
    text = f"{value} {unit}".strip()
    si = _si_of(value, unit)
    return f"{si} ({text})" if si else text


def _si_of(value: Any, unit: str) -> str:
    try:
        told = briefly(float(str(value).replace(",", "")), unit) if unit in UNITS else ""
    except ValueError:
        return ""
    return told if not told.endswith(f" {unit}") else ""


@register.filter
def figure(value: float) -> str:
    """A bare number to three figures."""
    return figures(value, 3)


@register.filter
def nth(items: Sequence[str], index: int) -> str:
    """One of several by its place."""
    return items[index]


@register.filter
def ladder_word(verdict: str) -> str:
    """The verdict of a ladder in words: silence about an unknown rung is no praise."""
    return {"good": "Set points in order", "unknown": "Not known"}.get(verdict) or verdict.capitalize()
