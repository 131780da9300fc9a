"""Checks of numbers before a formula uses them: each must be finite and inside the possible range.

An impossible value is refused with all faults found. A value that is merely dangerous is inside its range.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from fleet.errors import Fault, FaultPath, Refused

Floats = NDArray[np.float64]
Num = TypeVar("Num", float, Floats)  # functions return a float for floats and an array for arrays


class Impossible(Refused, ValueError):
    """Raised for impossible input. It is also a ValueError, as Python's own functions raise."""


@dataclass(frozen=True, slots=True)
class Range:
    """The possible range of a quantity: unit, bounds, whether each bound is included, and why values beyond are not."""

    unit: str
    low: float = -math.inf
    high: float = math.inf
    low_in: bool = True
    high_in: bool = True
    why: str = ""

    def faults(self, name: str, value: object, at: FaultPath | None = None) -> list[Fault]:
        """Return the faults of `value`, a number or an array. Empty where all of it is possible."""
        place = (name,) if at is None else at
        if isinstance(value, np.ndarray):
            return self._faults_of_array(name, value, place)
        number = as_number(value)
        if number is None:
            return [Fault("not_a_number", f"{name}: {_short_repr(value)} is not a finite number.", place)]
        return [] if self._is_inside(number) else [Fault("out_of_range", self._explain_fault(name, number), place)]

    def faults_if_known(self, name: str, value: object) -> list[Fault]:
        """Return the faults of `value`; none where it is None, which means not known."""
        return [] if value is None else self.faults(name, value)

    def faults_of_each(self, name: str, values: Sequence[object]) -> list[Fault]:
        """Return the faults of all `values`, each at its index in the list."""
        return [fault for index, value in enumerate(values) for fault in self.faults(name, value, (name, index))]

    def as_words(self) -> str:
        """Return the range as people write it: `over 0 up to 15 psi`."""
        low = f"{'from' if self.low_in else 'over'} {self.low:,.10g}" if math.isfinite(self.low) else ""
        high = f"{'up to' if self.high_in else 'under'} {self.high:,.10g}" if math.isfinite(self.high) else ""
        return f"{' '.join(part for part in (low, high) if part) or 'any number'} {self.unit}".rstrip()

    def _is_inside(self, value: Any) -> Any:
        above = value >= self.low if self.low_in else value > self.low
        below = value <= self.high if self.high_in else value < self.high
        return above & below

    def _faults_of_array(self, name: str, values: NDArray[Any], place: FaultPath) -> list[Fault]:
        if values.dtype.kind not in "iuf":
            return [Fault("not_a_number", f"{name}: an array of {values.dtype} holds no numbers.", place)]
        if not values.size or all(math.isfinite(end) and self._is_inside(end) for end in (values.min(), values.max())):
            return []  # min() is NaN where any value is NaN
        wrong = np.argwhere(~(np.isfinite(values) & self._is_inside(values)))
        first = tuple(int(index) for index in wrong[0])
        first_faults = self.faults(name, float(values[first]), (*place, *first))
        more = f" {len(wrong) - 1} more like it." if len(wrong) > 1 else ""
        return [Fault(fault.code, fault.message + more, fault.at) for fault in first_faults]

    def _explain_fault(self, name: str, value: float) -> str:
        sentence = f"{name}: {value:,.10g} is not {self.as_words()}"
        return f"{sentence}: {self.why}." if self.why else f"{sentence}."


def as_number(value: object) -> float | None:
    """Return `value` as a float, None for what is not a finite real number (truth values included)."""
    if isinstance(value, (bool, np.bool_)) or not isinstance(value, (int, float, np.integer, np.floating)):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def power(value: Num, exponent: float) -> Num:
    """Return a number or an array (from 0 up) raised to any power."""
    if isinstance(value, np.ndarray):
        return value**exponent
    return math.pow(value, exponent)


def square_root(value: Num) -> Num:
    """Return the square root of a number or an array (from 0 up)."""
    return power(value, 0.5)


def require(*fault_lists: Iterable[Fault]) -> None:
    """Raise Impossible with the faults of all lists, if there are any."""
    faults = [fault for faults in fault_lists for fault in faults]
    if faults:
        raise Impossible.from_faults(faults)


def require_same_shape(**values: object) -> None:
    """Raise Impossible for arrays whose shapes cannot be broadcast together."""
    shapes = [value.shape for value in values.values() if isinstance(value, np.ndarray)]
    try:
        np.broadcast_shapes(*shapes)
    except ValueError:
        message = f"{', '.join(values)}: arrays of {', '.join(map(str, shapes))} do not go together."
        raise Impossible("shapes", message, tuple(values)[:1]) from None


def refuse_where(bad: object, code: str, message: str, at: FaultPath) -> None:
    """Raise Impossible where `bad`, a truth value or an array, is true. For an array the first index is named."""
    wrong = np.argwhere(np.atleast_1d(np.asarray(bad)))
    if len(wrong):
        index = tuple(int(i) for i in wrong[0]) if isinstance(bad, np.ndarray) and bad.ndim else ()
        raise Impossible(code, message, (*at, *index))


def faults_of_choice(name: str, value: object, choices: Iterable[str]) -> list[Fault]:
    """Return the fault of a value that is none of `choices`. Empty where it is one."""
    known_choices = sorted(choices)
    if isinstance(value, str) and value in known_choices:
        return []
    return [Fault("unknown_choice", f"{name}: {_short_repr(value)} is none of {', '.join(known_choices)}.", (name,))]


def _short_repr(value: object) -> str:
    try:
        text = repr(value)
    except ValueError:  # Python does not print whole numbers of over 4300 digits
        return "a number of thousands of digits"
    return text if len(text) <= 40 else f"{text[:37]}…"
