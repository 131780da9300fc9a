"""Numbers and choices as they are said on the pages of calculations."""

from collections.abc import Sequence

from django import template

from fleet.engineering.fuels import FUELS
from fleet.engineering.units import UNITS
from fleet.web.figures import figures, shown

register = template.Library()


@register.filter
def spoken(choice: str) -> str:
    """A choice in words; a unit as it is written."""
    if choice in UNITS:
        return choice
    return FUELS[choice].name if choice in FUELS else choice.replace("_", " ")


@register.filter
def us_si(value: float, unit: str) -> str:
    """The trade's unit first, SI in brackets: "8 psi (55.2 kPa)"."""
    said = shown(value, unit, 3)
    return f"{said.value} {said.unit}" + (f" ({said.si} {said.si_unit})" if said.si else "")


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
