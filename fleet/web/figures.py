"""How numbers stand on a page: the trade's unit first, SI beside it, as many figures as they are worth."""

from dataclasses import dataclass
from typing import Any

from fleet.engineering.units import convert, si_unit

FIGURES = 4
SAID = {"F diff": "F", "K diff": "K"}  # a difference of temperatures is written like a temperature


@dataclass(frozen=True, slots=True)
class Shown:
    """A value as text with its unit; in SI too where that is another one."""

    value: str
    unit: str
    si: str = ""
    si_unit: str = ""


def number(value: Any) -> bool:
    """Whether it is a number: a truth value is none."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def figures(value: float, count: int = FIGURES) -> str:
    """The value to `count` significant figures or to the whole, never in powers of ten: 1,100,000 and 0.0123."""
    if value == 0:
        return "0"
    rounded = float(f"{value:.{count}g}") if abs(value) < 10**count else float(round(value))
    return f"{rounded:,.10f}".rstrip("0").rstrip(".") or "0"


def shown(value: float, unit: str, count: int = FIGURES) -> Shown:
    """The value in its unit and, where there is one, in the SI unit of the same kind."""
    other, said = si_unit(unit), SAID.get(unit, unit)
    if not unit or other == unit:
        return Shown(figures(value, count), said)
    converted = float(convert(value, unit, other))
    return Shown(figures(value, count), said, figures(converted, count), SAID.get(other, other))
