"""Every output of every offered calculation has a value from outside, with its unit: no two can be mixed up unseen."""

from typing import Any

import pytest

from fleet.engineering.calculations import CALCULATIONS, run_calculation
from fleet.engineering.checks import as_number
from tests.engineering.golden import GoldenOutput, GoldenRow, golden_rows

ROWS = golden_rows()


def is_met(got: Any, expected: GoldenOutput) -> bool:
    """Whether an output is the expected one: words alike, numbers within what is allowed."""
    if isinstance(expected.value, list):
        return len(got) == len(expected.value) and all(
            is_met(one, GoldenOutput(value, expected.unit, expected.within))
            for one, value in zip(got, expected.value, strict=True)
        )
    if as_number(expected.value) is None:
        return bool(got == expected.value)
    return as_number(got) is not None and abs(got - expected.value) <= expected.within


@pytest.mark.parametrize("row", ROWS, ids=[f"{n}-{row.calculation}" for n, row in enumerate(ROWS)])
def test_each_output_is_its_golden_value(row: GoldenRow) -> None:
    outputs = run_calculation(row.calculation, row.inputs).outputs
    wrong = {name: (outputs[name], want.value) for name, want in row.outputs.items() if not is_met(outputs[name], want)}
    assert wrong == {}, row.source


@pytest.mark.parametrize("row", ROWS, ids=[f"{n}-{row.calculation}" for n, row in enumerate(ROWS)])
def test_each_golden_row_names_every_output_with_its_unit(row: GoldenRow) -> None:
    units = {output.name: output.unit for output in CALCULATIONS[row.calculation].outputs}
    assert {name: output.unit for name, output in row.outputs.items()} == units
    assert row.source


def test_no_offered_calculation_is_without_a_golden_row() -> None:
    assert {row.calculation for row in ROWS} == set(CALCULATIONS)


def test_every_number_has_a_row_in_which_it_is_known() -> None:
    known = {
        (row.calculation, name) for row in ROWS for name, output in row.outputs.items() if output.value is not None
    }
    assert {(code, output.name) for code, spec in CALCULATIONS.items() for output in spec.outputs} - known == set()


def test_no_allowance_is_wider_than_a_hundredth_of_its_value() -> None:
    wide = [
        (row.calculation, name)
        for row in ROWS
        for name, output in row.outputs.items()
        if (number := as_number(output.value)) and output.within > abs(number) / 100
    ]
    assert wide == []
