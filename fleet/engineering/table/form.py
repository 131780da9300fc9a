"""Definitions of an offered calculation: its inputs, outputs and texts."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fleet.engineering.checks import Range, one_of
from fleet.errors import Fault, Place

ANY = Range("")
REQUIRED = object()  # the default of an input that has none


@dataclass(frozen=True, slots=True)
class Input:
    """One input: a number in a range with its unit, or, with `choices`, a word.

    `default` REQUIRED: it must be given; None: it may be left out as unknown. `many`: it is a list, each element
    checked alone. `gaps`: its elements may be None.
    """

    name: str
    label: str
    range: Range = ANY
    choices: tuple[str, ...] = ()
    default: Any = REQUIRED
    many: bool = False
    gaps: bool = False

    @property
    def unit(self) -> str:
        """The unit of the number, empty for a word or a bare number."""
        return self.range.unit

    def faults(self, value: object) -> list[Fault]:
        """Return all faults of the value given for this input."""
        if not self.many:
            return self._faults_of_one(value, (self.name,), value is None and self.default is None)
        if not isinstance(value, list):
            return [Fault("not_a_list", f"{self.name}: a list is needed.", (self.name,))]
        places = [(item, (self.name, index)) for index, item in enumerate(value)]
        return [f for item, at in places for f in self._faults_of_one(item, at, item is None and self.gaps)]

    def _faults_of_one(self, value: object, at: Place, unknown: bool) -> list[Fault]:
        if unknown:
            return []
        return one_of(self.name, value, self.choices) if self.choices else self.range.faults(self.name, value, at)


@dataclass(frozen=True, slots=True)
class Output:
    """One output. `at` is its attribute path in what the function returns, empty for the whole."""

    name: str
    label: str
    unit: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Calculation:
    """A calculation: its inputs, its outputs, its function, and the texts shown with the result."""

    code: str
    title: str
    function: Callable[..., Any]
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    formula: str
    source: str
    caution: str


VERDICT = (
    Output("verdict", "Verdict", at="verdict"),
    Output("reasons", "Reasons", at="sentences"),
    Output("unknown", "Not known", at="unknown"),
)
NO_PERMISSION = (
    "Advice to a qualified person, never a permission: "
    "local codes, the maker's instructions and the inspector go first."
)
