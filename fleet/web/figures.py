"""How numbers stand on a page: in the units its reader chose, with as many figures as they are worth.

A number over a limit is never rounded down to it, nor one under it up past it: whoever reads SI is not told less.
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
SAID = {"F diff": "F", "K diff": "K"}  # a difference of temperatures is written like a temperature
BOTH, US, SI = "both", "us", "si"
CHOICES = {BOTH: "US units, SI in brackets", US: "US units", SI: "SI units"}
LIMITS = {"psi": MOST_PSI, "kPa": float(convert(MOST_PSI, "psi", "kPa"))}
# What the rules' sentences count in; a rate before what it is a rate of.
IN_SENTENCES = {"gal a day": "gal/day", "Btu/h": "Btu/h", "lb/h": "lb/h", "psi": "psi", "gal": "gal", "in": "in"}
# "in" is a length only where no other word follows than those the sentences put behind one.
QUANTITY = re.compile(
    r"(?<![\w.])(-?\d[\d,]*(?:\.\d+)?) "
    r"(gal a day|Btu/h|lb/h|psi|gal|in(?=[.,;:)]|$| (?:as|over|above|under)\b))(?![\w/])"
)

_chosen: ContextVar[Callable[[], str]] = ContextVar("units", default=lambda: BOTH)


@contextmanager
def reader(choice: Callable[[], str]) -> Iterator[None]:
    """Show numbers in the units that `choice` names once a number is met (one of CHOICES)."""
    token = _chosen.set(choice)
    try:
        yield
    finally:
        _chosen.reset(token)


def units() -> str:
    """The units of whoever reads: one of CHOICES."""
    return _chosen.get()()


@dataclass(frozen=True, slots=True)
class Shown:
    """A value as text with its unit; in SI too where that is another one."""

    value: str
    unit: str
    si: str = ""
    si_unit: str = ""

    def __str__(self) -> str:
        """In one piece: "8 psi (55.2 kPa)"."""
        return f"{self.value} {self.unit}".strip() + (f" ({self.si} {self.si_unit})" if self.si else "")


def number(value: Any) -> bool:
    """Whether it is a number: a truth value is none."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def figures(value: float, count: int = FIGURES) -> str:
    """The value to `count` significant figures or to the whole, never in powers of ten: 1,100,000 and 0.0123."""
    return _written(_rounded(value, count))


def guarded(value: float, unit: str, count: int = FIGURES) -> str:
    """The same, with as many figures more as it takes to stand on its own side of the limit for its unit."""
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
    """The value in its unit and, where there is one, in the SI unit of the same kind, whoever reads."""
    other, said = si_unit(unit), SAID.get(unit, unit)
    us = guarded(value, unit, count)
    if not unit or other == unit:
        return Shown(us, said)
    return Shown(us, said, guarded(_si(value, unit), other, count), SAID.get(other, other))


def shown(value: float, unit: str, count: int = FIGURES) -> Shown:
    """The value in the units of whoever reads."""
    both, choice = in_both(value, unit, count), units()
    if choice == SI and both.si:
        return Shown(both.si, both.si_unit)
    return Shown(both.value, both.unit) if choice == US else both


def brief(value: float, unit: str, count: int = 3) -> str:
    """The value in one unit alone: SI for who chose SI, else the trade's."""
    both = in_both(value, unit, count)
    return f"{both.si} {both.si_unit}" if both.si and units() == SI else f"{both.value} {both.unit}".strip()


def drawn_in(unit: str) -> str:
    """The unit that a scale, a chart or a column of a table is in."""
    return si_unit(unit) if units() == SI else unit


def drawn(value: float, unit: str) -> float:
    """A value on such a scale."""
    return _si(value, unit) if units() == SI and si_unit(unit) != unit else value


def said_of_unit(unit: str) -> str:
    """A unit as it is written: that of a difference of temperatures like that of a temperature."""
    return SAID.get(unit, unit)


def with_si(sentence: str) -> str:
    """A sentence of the rules for who reads: its own figures stand, for who chose SI with SI behind each."""
    return QUANTITY.sub(_bracketed, str(sentence)) if units() == SI else str(sentence)


def _bracketed(found: re.Match[str]) -> str:
    value, unit = float(found[1].replace(",", "")), IN_SENTENCES[found[2]]
    si = in_both(value, unit, 3)
    return f"{found[0]} ({si.si} {si.si_unit})"


def _si(value: float, unit: str) -> float:
    return float(convert(value, unit, si_unit(unit))) if unit in UNITS else value
