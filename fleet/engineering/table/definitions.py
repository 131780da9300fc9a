"""Definitions of an offered calculation: its inputs, outputs and texts."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fleet.engineering.checks import Range, faults_of_choice
from fleet.errors import Fault, FaultPath

ANY = Range("")
REQUIRED = object()  # the default of an input that has none


@dataclass(frozen=True, slots=True)
class InputSpec:
    """One input: a number in a range with its unit, or, with `choices`, a word.

    `default` REQUIRED: it must be given; None: it may be left out as unknown. What the default takes for granted is
    said by `assumed`, a sentence that the answer repeats. `many`: it is a list, each element checked alone. `gaps`: its
    elements may be None.
    """

    name: str
    label: str
    range: Range = ANY
    choices: tuple[str, ...] = ()
    default: Any = REQUIRED
    assumed: str = ""
    many: bool = False
    gaps: bool = False

    @property
    def unit(self) -> str:
        """The unit of the number, empty for a word or a bare number."""
        return self.range.unit

    def assumption_for(self, value: object) -> str:
        """Return what an answer from this value takes for granted, '' where the value is no default."""
        return "" if self.default is REQUIRED or value != self.default else self.assumed

    def find_faults(self, value: object) -> list[Fault]:
        """Return all faults of the value given for this input."""
        if not self.many:
            return self._faults_of_one(value, (self.name,), value is None and self.default is None)
        if not isinstance(value, list):
            return [Fault("not_a_list", f"{self.name}: a list is needed.", (self.name,))]
        places = [(item, (self.name, index)) for index, item in enumerate(value)]
        return [f for item, at in places for f in self._faults_of_one(item, at, item is None and self.gaps)]

    def _faults_of_one(self, value: object, at: FaultPath, unknown: bool) -> list[Fault]:
        if unknown:
            return []
        return (
            faults_of_choice(self.name, value, self.choices)
            if self.choices
            else self.range.faults(self.name, value, at)
        )


@dataclass(frozen=True, slots=True)
class OutputSpec:
    """One output. `at` is its attribute path in what the function returns, empty for the whole."""

    name: str
    label: str
    unit: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class CalculationSpec:
    """A calculation: its inputs, its outputs, its function, and the texts shown with the result."""

    code: str
    title: str
    function: Callable[..., Any]
    inputs: tuple[InputSpec, ...]
    outputs: tuple[OutputSpec, ...]
    formula: str
    source: str
    caution: str


GRADE_OUTPUTS = (OutputSpec("grade", "Grade", at="grade"), OutputSpec("reasons", "Reasons", at="sentences"))
VERDICT_OUTPUTS = (
    OutputSpec("verdict", "Verdict", at="verdict"),
    OutputSpec("reasons", "Reasons", at="sentences"),
    OutputSpec("unknown", "Not known", at="unknown"),
)
NO_PERMISSION = (
    "Advice to a qualified person, never a permission: "
    "local codes, the maker's instructions and the inspector go first."
)
