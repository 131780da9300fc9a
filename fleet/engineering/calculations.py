"""The one register of calculations. A page and an endpoint are made from it; both use `run_calculation`."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fleet.engineering.checks import Impossible, require
from fleet.engineering.table import building, burner, fire_side, pressure_side, water_side
from fleet.engineering.table.definitions import REQUIRED, CalculationSpec, OutputSpec
from fleet.errors import Fault, Refused

CALCULATIONS: dict[str, CalculationSpec] = {
    calculation.code: calculation
    for table in (pressure_side.TABLE, water_side.TABLE, fire_side.TABLE, burner.TABLE, building.TABLE)
    for calculation in table
}


@dataclass(frozen=True, slots=True)
class CalculationResult:
    """The result of a calculation: outputs by name, and the inputs as used, with defaults filled in.

    `assumptions` says in words what those defaults take for granted.
    """

    calculation: CalculationSpec
    inputs: dict[str, object]
    outputs: dict[str, object]

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What the answer takes for granted, a sentence for each input that is as it is by default."""
        said = (spec.assumption_for(self.inputs[spec.name]) for spec in self.calculation.inputs)
        return tuple(sentence for sentence in said if sentence)


def run_calculation(code: str, inputs: Mapping[str, object]) -> CalculationResult:
    """Return the result of a named calculation for inputs in its own units.

    Raises Refused with all faults of the inputs at once: missing, unknown, no number, out of range. Where each input is
    possible alone but not together, the formula raises its own reason. An unknown calculation has status 404.
    """
    if code not in CALCULATIONS:
        raise Refused("unknown_calculation", f"There is no calculation {code!r}.", ("code",), 404)
    calculation = CALCULATIONS[code]
    require(_find_faults(calculation, inputs))
    used_inputs = {
        input_spec.name: inputs.get(input_spec.name, input_spec.default) for input_spec in calculation.inputs
    }
    answer = calculation.function(**used_inputs)
    return CalculationResult(
        calculation, used_inputs, {output.name: _output_value(answer, output) for output in calculation.outputs}
    )


def _find_faults(calculation: CalculationSpec, inputs: Mapping[str, object]) -> Iterator[Fault]:
    known_names = {input_spec.name for input_spec in calculation.inputs}
    for name in inputs:
        if name not in known_names:
            yield Fault("unknown_input", f"{name}: {calculation.code} does not ask for this.", (name,))
    for input_spec in calculation.inputs:
        if input_spec.name in inputs:
            yield from input_spec.find_faults(inputs[input_spec.name])
        elif input_spec.default is REQUIRED:
            yield Fault("missing", f"{input_spec.name}: {input_spec.label} is needed.", (input_spec.name,))


def _output_value(answer: Any, output: OutputSpec) -> object:
    """Return one output as plain data: a number, a word, None, or a list of these."""
    for name in filter(None, output.at.split(".")):
        answer = getattr(answer, name)
    return _to_plain_data(answer, output.name)


def _to_plain_data(value: Any, name: str) -> Any:
    if isinstance(value, (tuple, list)):
        return [_to_plain_data(item, name) for item in value]
    if value is None or isinstance(value, (str, bool)):
        return value
    number = float(value)
    if not math.isfinite(number):
        raise Impossible("no_result", f"{name}: these inputs together have no finite result.")
    return number
