"""The one register of calculations. A page and an endpoint are made from it; both use `run_calculation`."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fleet.engineering.checks import Impossible, require
from fleet.engineering.table import building, fire_side, pressure_side, water_side
from fleet.engineering.table.form import REQUIRED, Calculation, Output
from fleet.errors import Fault, Refused

CALCULATIONS: dict[str, Calculation] = {
    calculation.code: calculation
    for table in (pressure_side.TABLE, water_side.TABLE, fire_side.TABLE, building.TABLE)
    for calculation in table
}


@dataclass(frozen=True, slots=True)
class Result:
    """The result of a calculation: outputs by name, and the inputs as used, with defaults filled in."""

    calculation: Calculation
    inputs: dict[str, Any]
    outputs: dict[str, Any]


def run(code: str, inputs: Mapping[str, object]) -> Result:
    """Return the result of a named calculation for inputs in its own units.

    Raises Refused with all faults of the inputs at once: missing, unknown, no number, out of range. Where each input is
    possible alone but not together, the formula raises its own reason. An unknown calculation has status 404.
    """
    if code not in CALCULATIONS:
        raise Refused("unknown_calculation", f"There is no calculation {code!r}.", ("code",), 404)
    calculation = CALCULATIONS[code]
    require(_faults(calculation, inputs))
    used = {asked.name: inputs.get(asked.name, asked.default) for asked in calculation.inputs}
    answer = calculation.function(**used)
    return Result(calculation, used, {output.name: _value(answer, output) for output in calculation.outputs})


def _faults(calculation: Calculation, inputs: Mapping[str, object]) -> Iterator[Fault]:
    known = {asked.name for asked in calculation.inputs}
    for name in inputs:
        if name not in known:
            yield Fault("unknown_input", f"{name}: {calculation.code} does not ask for this.", (name,))
    for asked in calculation.inputs:
        if asked.name in inputs:
            yield from asked.faults(inputs[asked.name])
        elif asked.default is REQUIRED:
            yield Fault("missing", f"{asked.name}: {asked.label} is needed.", (asked.name,))


def _value(answer: Any, output: Output) -> Any:
    """Return one output as plain data: a number, a word, None, or a list of these."""
    for name in filter(None, output.at.split(".")):
        answer = getattr(answer, name)
    return _plain(answer, output.name)


def _plain(value: Any, name: str) -> Any:
    if isinstance(value, (tuple, list)):
        return [_plain(item, name) for item in value]
    if value is None or isinstance(value, (str, bool)):
        return value
    number = float(value)
    if not math.isfinite(number):
        raise Impossible("no_result", f"{name}: these inputs together have no finite result.")
    return number
