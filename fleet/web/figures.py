"""How numbers are written on a page: in the units the reader chose, rounded to significant figures.

A number above a limit is never rounded down to the limit, and one below it is never rounded up to it, in any unit.
"""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from fleet.engineering.ladder import MOST_PSI
from fleet.engineering.units import UNITS, convert, si_unit

FIGURES, MOST_FIGURES = 4, 15
SAID = {"F diff": "F", "K diff": "K"}  # a temperature difference is written with the unit of a temperature
BOTH, US, SI = "both", "us", "si"
CHOICES = {BOTH: "US units, SI in brackets", US: "US units", SI: "SI units"}
LIMITS = {"psi": MOST_PSI, "kPa": float(convert(MOST_PSI, "psi", "kPa"))}
# Units in the sentences of the rules; a rate comes before its own quantity.
IN_SENTENCES = {"gal a day": "gal/day", "Btu/h": "Btu/h", "lb/h": "lb/h", "psi": "psi", "gal": "gal", "in": "in"}
# "in" is a length only before punctuation, the end, or the few words that follow a length in these sentences.
QUANTITY = re.compile(
    r"(?<![\w.])(-?\d[\d,]*(?:\.\d+)?) "
    r"(gal a day|Btu/h|lb/h|psi|gal|in(?=[.,;:)]|$| (?:as|over|above|under)\b))(?![\w/])"
)

_chosen: ContextVar[Callable[[], str]] = ContextVar("units", default=lambda: BOTH)


@contextmanager
def reader(choice: Callable[[], str]) -> Iterator[None]:
    """Show numbers in the units that `choice()` returns (one of CHOICES); it is called only when a number is shown."""
    token = _chosen.set(choice)
    try:
        yield
    finally:
        _chosen.reset(token)


def units() -> str:
    """Return the units of the reader: one of CHOICES."""
    return _chosen.get()()


@dataclass(frozen=True, slots=True)
class Shown:
    """A value as text with its unit, and in SI too if that is a different unit."""

    value: str
    unit: str
    si: str = ""
    si_unit: str = ""

    def __str__(self) -> str:
        """Return it in one string: "8 psi (55.2 kPa)"."""
        return f"{self.value} {self.unit}".strip() + (f" ({self.si} {self.si_unit})" if self.si else "")


def number(value: Any) -> bool:
    """Return whether `value` is a number; a bool is not."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def figures(value: float, count: int = FIGURES) -> str:
    """Return the value to `count` significant figures or to the unit, never with an exponent: 1,100,000 and 0.0123."""
    return _written(_rounded(value, count))


def guarded(value: float, unit: str, count: int = FIGURES) -> str:
    """Return the value like `to_figures`, with as many more figures as show on which side of its unit's limit it is."""
    limit = LIMITS.get(unit)
    if limit is None or value == limit:
        return figures(value, count)
    for more in range(count, MOST_FIGURES):
        rounded = _rounded(value, more)
        if (rounded > limit) == (value > limit):
            return _written(rounded)
    return f"{'just over' if value > limit else 'just under'} {_written(_rounded(limit, count))}"


def _rounded(value: float, count: int) -> float:
    return float(f"{value:.{count}g}") if abs(value) < 10**count else float(round(value))


def _written(rounded: float) -> str:
    if rounded == 0:
        return "0"
    return f"{rounded:,.10f}".rstrip("0").rstrip(".") or "0"


def in_both(value: float, unit: str, count: int = FIGURES) -> Shown:
    """Return the value in its unit and, if there is one, in the SI unit of the same kind, whatever the reader chose."""
    other, said = si_unit(unit), SAID.get(unit, unit)
    us = guarded(value, unit, count)
    if not unit or other == unit:
        return Shown(us, said)
    return Shown(us, said, guarded(_si(value, unit), other, count), SAID.get(other, other))


def shown(value: float, unit: str, count: int = FIGURES) -> Shown:
    """Return the value in the units of the reader."""
    both, choice = in_both(value, unit, count), units()
    if choice == SI and both.si:
        return Shown(both.si, both.si_unit)
    return Shown(both.value, both.unit) if choice == US else both


def brief(value: float, unit: str, count: int = 3) -> str:
    """Return the value in one unit only: SI if the reader chose SI, else its own unit."""
    both = in_both(value, unit, count)
    return f"{both.si} {both.si_unit}" if both.si and units() == SI else f"{both.value} {both.unit}".strip()


def drawn_in(unit: str) -> str:
    """Return the unit of a scale, a chart or a table column for this reader."""
    return si_unit(unit) if units() == SI else unit


def drawn(value: float, unit: str) -> float:
    """Return a value in the unit that `drawn_unit` gives."""
    return _si(value, unit) if units() == SI and si_unit(unit) != unit else value


def said_of_unit(unit: str) -> str:
    """Return the unit as written: a difference of temperatures has the unit of a temperature."""
    return SAID.get(unit, unit)


def with_si(sentence: str) -> str:
    """Return a sentence of the rules for this reader: if the reader chose SI, SI follows each quantity in brackets."""
    return QUANTITY.sub(_bracketed, str(sentence)) if units() == SI else str(sentence)


def _bracketed(found: re.Match[str]) -> str:
    value, unit = float(found[1].replace(",", "")), IN_SENTENCES[found[2]]
    si = in_both(value, unit, 3)
    return f"{found[0]} ({si.si} {si.si_unit})"


def _si(value: float, unit: str) -> float:
    return float(convert(value, unit, si_unit(unit))) if unit in UNITS else value
