"""How numbers are written on a page: in the units the reader chose, rounded to significant figures.

A number above a limit is never rounded down to the limit, and one below it is never rounded up to it, in any unit.
"""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from fleet.engineering.ladder import MAX_STEAM_PSI
from fleet.engineering.units import UNITS, convert, si_unit

DEFAULT_FIGURES, MAX_FIGURES = 4, 15
UNIT_TEXTS = {"F diff": "F", "K diff": "K"}  # a temperature difference is written with the unit of a temperature
BOTH_UNITS, US, SI = "both", "us", "si"
CHOICES = {BOTH_UNITS: "US units, SI in brackets", US: "US units", SI: "SI units"}
LIMITS = {"psi": MAX_STEAM_PSI, "kPa": float(convert(MAX_STEAM_PSI, "psi", "kPa"))}
# Units in the sentences of the rules; a rate comes before its own quantity.
SENTENCE_UNITS = {"gal a day": "gal/day", "Btu/h": "Btu/h", "lb/h": "lb/h", "psi": "psi", "gal": "gal", "in": "in"}
# "in" is a length only before punctuation, the end, or the few words that follow a length in these sentences.
QUANTITY_PATTERN = re.compile(
    r"(?<![\w.])(-?\d[\d,]*(?:\.\d+)?) "
    r"(gal a day|Btu/h|lb/h|psi|gal|in(?=[.,;:)]|$| (?:as|over|above|under)\b))(?![\w/])"
)

_units_choice: ContextVar[Callable[[], str]] = ContextVar("units", default=lambda: BOTH_UNITS)


@contextmanager
def use_units(choice: Callable[[], str]) -> Iterator[None]:
    """Show numbers in the units that `choice()` returns (one of CHOICES); it is called only when a number is shown."""
    token = _units_choice.set(choice)
    try:
        yield
    finally:
        _units_choice.reset(token)


def reader_units() -> str:
    """Return the units of the reader: one of CHOICES."""
    return _units_choice.get()()


@dataclass(frozen=True, slots=True)
class DisplayedValue:
    """A value as text with its unit, and in SI too if that is a different unit."""

    value: str
    unit: str
    si: str = ""
    si_unit: str = ""

    def __str__(self) -> str:
        """Return it in one string: "8 psi (55.2 kPa)"."""
        return f"{self.value} {self.unit}".strip() + (f" ({self.si} {self.si_unit})" if self.si else "")


def is_number(value: object) -> bool:
    """Return whether `value` is a number; a bool is not."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def to_figures(value: float, count: int = DEFAULT_FIGURES) -> str:
    """Return the value to `count` significant figures or to the unit, never with an exponent: 1,100,000 and 0.0123."""
    return _write_plain(_round_figures(value, count))


def guard_figures(value: float, unit: str, count: int = DEFAULT_FIGURES) -> str:
    """Return the value like `to_figures`, with as many more figures as show on which side of its unit's limit it is."""
    limit = LIMITS.get(unit)
    if limit is None or value == limit:
        return to_figures(value, count)
    for digits in range(count, MAX_FIGURES):
        rounded = _round_figures(value, digits)
        if (rounded > limit) == (value > limit):
            return _write_plain(rounded)
    return f"{'just over' if value > limit else 'just under'} {_write_plain(_round_figures(limit, count))}"


def _round_figures(value: float, count: int) -> float:
    return float(f"{value:.{count}g}") if abs(value) < 10**count else float(round(value))


def _write_plain(rounded: float) -> str:
    if rounded == 0:
        return "0"
    return f"{rounded:,.10f}".rstrip("0").rstrip(".") or "0"


def in_both_units(value: float, unit: str, count: int = DEFAULT_FIGURES) -> DisplayedValue:
    """Return the value in its unit and, if there is one, in the SI unit of the same kind, whatever the reader chose."""
    si_name, own_text = si_unit(unit), UNIT_TEXTS.get(unit, unit)
    us_value = guard_figures(value, unit, count)
    if not unit or si_name == unit:
        return DisplayedValue(us_value, own_text)
    return DisplayedValue(
        us_value, own_text, guard_figures(_to_si(value, unit), si_name, count), UNIT_TEXTS.get(si_name, si_name)
    )


def in_reader_units(value: float, unit: str, count: int = DEFAULT_FIGURES) -> DisplayedValue:
    """Return the value in the units of the reader."""
    pair, choice = in_both_units(value, unit, count), reader_units()
    if choice == SI and pair.si:
        return DisplayedValue(pair.si, pair.si_unit)
    return DisplayedValue(pair.value, pair.unit) if choice == US else pair


def in_brief(value: float, unit: str, count: int = 3) -> str:
    """Return the value in one unit only: SI if the reader chose SI, else its own unit."""
    pair = in_both_units(value, unit, count)
    return f"{pair.si} {pair.si_unit}" if pair.si and reader_units() == SI else f"{pair.value} {pair.unit}".strip()


def drawn_unit(unit: str) -> str:
    """Return the unit of a scale, a chart or a table column for this reader."""
    return si_unit(unit) if reader_units() == SI else unit


def drawn_value(value: float, unit: str) -> float:
    """Return a value in the unit that `drawn_unit` gives."""
    return _to_si(value, unit) if reader_units() == SI and si_unit(unit) != unit else value


def unit_text(unit: str) -> str:
    """Return the unit as written: a difference of temperatures has the unit of a temperature."""
    return UNIT_TEXTS.get(unit, unit)


def with_si(sentence: str) -> str:
    """Return a sentence of the rules for this reader: if the reader chose SI, SI follows each quantity in brackets."""
    return QUANTITY_PATTERN.sub(_add_si, str(sentence)) if reader_units() == SI else str(sentence)


def _add_si(match: re.Match[str]) -> str:
    value, unit = float(match[1].replace(",", "")), SENTENCE_UNITS[match[2]]
    si = in_both_units(value, unit, 3)
    return f"{match[0]} ({si.si} {si.si_unit})"


def _to_si(value: float, unit: str) -> float:
    return float(convert(value, unit, si_unit(unit))) if unit in UNITS else value
