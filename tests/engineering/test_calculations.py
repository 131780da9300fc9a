"""The register: every offered calculation runs on its example, tells its words, and refuses all faults at once."""

import inspect
import json
import math
from typing import Any

import pytest

from fleet.engineering.calculations import CALCULATIONS, run_calculation
from fleet.engineering.table.definitions import REQUIRED, CalculationSpec, InputSpec
from fleet.engineering.units import UNITS
from fleet.errors import Refused
from tests.engineering.golden import golden_rows

EXAMPLES: dict[str, dict[str, Any]] = {row.calculation: row.inputs for row in reversed(golden_rows())}
ALL = pytest.mark.parametrize("calculation", CALCULATIONS.values(), ids=CALCULATIONS)
BAD: list[object] = [math.nan, math.inf, -math.inf, True, "12", [], {}, 10**400]


def refusal(code: str, inputs: dict[str, Any]) -> Refused:
    with pytest.raises(Refused) as refused:
        run_calculation(code, inputs)
    return refused.value


@ALL
def test_each_answer_is_plain_data(calculation: CalculationSpec) -> None:
    found = run_calculation(calculation.code, EXAMPLES[calculation.code])
    again = json.loads(json.dumps({"inputs": found.inputs, "outputs": found.outputs}, allow_nan=False))
    assert again == {"inputs": found.inputs, "outputs": found.outputs}


@ALL
def test_formula_source_and_caution_stand_beside_each_answer(calculation: CalculationSpec) -> None:
    words = (calculation.title, calculation.formula, calculation.source, calculation.caution)
    assert all(len(text) > 3 for text in words)
    assert len({asked.name for asked in calculation.inputs}) == len(calculation.inputs)


@ALL
def test_each_unit_is_one_that_can_be_shown_in_si(calculation: CalculationSpec) -> None:
    known = {*UNITS, "", "1/h", "degree-days"}
    assert {part.unit for part in (*calculation.inputs, *calculation.outputs)} <= known


@ALL
def test_the_function_asks_for_what_the_table_says(calculation: CalculationSpec) -> None:
    asked = {one.name for one in calculation.inputs}
    known = inspect.signature(calculation.function).parameters
    takes_rest = any(one.kind is inspect.Parameter.VAR_KEYWORD for one in known.values())
    assert takes_rest or asked <= set(known)


@ALL
def test_a_default_is_possible_itself(calculation: CalculationSpec) -> None:
    given = [asked for asked in calculation.inputs if asked.default not in (REQUIRED, None)]
    assert [fault for asked in given for fault in asked.find_faults(asked.default)] == []


@ALL
def test_with_nothing_given_all_that_is_missing_is_named_at_once(calculation: CalculationSpec) -> None:
    needed = [(asked.name,) for asked in calculation.inputs if asked.default is REQUIRED]
    if needed:
        assert [fault.at for fault in refusal(calculation.code, {}).faults] == needed


@pytest.mark.parametrize(
    ("calculation", "asked"),
    [(one, asked) for one in CALCULATIONS.values() for asked in one.inputs],
    ids=[f"{one.code}-{asked.name}" for one in CALCULATIONS.values() for asked in one.inputs],
)
def test_each_input_of_each_calculation_refuses_what_cannot_be(calculation: CalculationSpec, asked: InputSpec) -> None:
    good = EXAMPLES[calculation.code]
    for bad in BAD:
        value = [bad] if asked.many else bad
        faults = refusal(calculation.code, {**good, asked.name: value}).faults
        assert {fault.at[0] for fault in faults} == {asked.name}, bad


def test_all_faults_of_the_inputs_are_told_at_once() -> None:
    inputs = {"o2_percent": 21, "stack_f": "hot", "fuel": "coal", "weather": 5}
    faults = refusal("flue_gas", inputs).faults
    assert {(fault.code, fault.at) for fault in faults} == {
        ("out_of_range", ("o2_percent",)),
        ("not_a_number", ("stack_f",)),
        ("unknown_choice", ("fuel",)),
        ("unknown_input", ("weather",)),
        ("missing", ("room_f",)),
    }


def test_what_is_possible_alone_and_not_together_is_refused_by_the_formula() -> None:
    faults = refusal("flue_gas", {"o2_percent": 5, "stack_f": 60, "room_f": 70}).faults
    assert [(fault.code, fault.at) for fault in faults] == [("stack_colder_than_room", ("stack_f",))]


def test_a_dangerous_ladder_is_answered_with_hold() -> None:
    found = run_calculation("ladder", {"limit_psi": 15, "valve_psi": 15}).outputs
    assert (found["verdict"], found["unknown"]) == ("hold", ["cut_in_psi", "cut_out_psi"])


def test_an_element_of_a_list_is_named_by_its_place() -> None:
    faults = refusal("relief_margin", {"output_btu_h": 1e6, "stamped_lb_h": [500, None, -1]}).faults
    assert [fault.at for fault in faults] == [("stamped_lb_h", 2)]


def test_a_number_where_a_list_is_asked_is_refused() -> None:
    faults = refusal("relief_margin", {"output_btu_h": 1e6, "stamped_lb_h": 500}).faults
    assert [(fault.code, fault.at) for fault in faults] == [("not_a_list", ("stamped_lb_h",))]


def test_a_calculation_that_does_not_exist_is_not_found() -> None:
    refused = refusal("perpetual_motion", {})
    assert (refused.status, refused.faults[0].code) == (404, "unknown_calculation")


def test_altitude_moves_the_boiling_point_and_not_the_gauge() -> None:
    high, low = (run_calculation("steam_at_gauge", {"pressure_psig": 2, "altitude_ft": ft}).outputs for ft in (5000, 0))
    assert high["temperature_f"] < low["temperature_f"] - 8


@ALL
def test_what_a_default_takes_for_granted_is_said_in_a_sentence(calculation: CalculationSpec) -> None:
    optional = [spec for spec in calculation.inputs if spec.default is not REQUIRED]
    assert [spec.name for spec in optional if not (len(spec.assumed) > 10 and spec.assumed.endswith("."))] == []
    assert [spec.name for spec in calculation.inputs if spec.default is REQUIRED and spec.assumed] == []


@ALL
def test_an_answer_repeats_what_it_takes_for_granted(calculation: CalculationSpec) -> None:
    needed = {spec.name for spec in calculation.inputs if spec.default is REQUIRED}
    inputs = {name: value for name, value in EXAMPLES[calculation.code].items() if name in needed}
    if calculation.code == "air_openings":
        inputs["method"] = "two_direct"
    found = run_calculation(calculation.code, inputs)
    assert found.assumptions == tuple(spec.assumed for spec in calculation.inputs if spec.name not in needed)


def test_a_usual_value_is_an_assumption_also_where_it_was_typed() -> None:
    typed = run_calculation("steam_at_gauge", {"pressure_psig": 2, "altitude_ft": 0}).assumptions
    assert typed == ("The house stands at sea level. At 5,000 ft water boils some 9 F lower.",)
    assert run_calculation("steam_at_gauge", {"pressure_psig": 2, "altitude_ft": 5000}).assumptions == ()


@pytest.mark.parametrize(
    ("inputs", "verdict", "doubted"),
    [
        ({"seconds": 9.0}, "urgent", True),
        ({"seconds": 9.0, "gross_btu_ft3": 1026, "meter_factor": 1}, "urgent", False),
        ({"seconds": 36.0}, "inconclusive", True),
        ({"seconds": 36.0, "gross_btu_ft3": 1026}, "inconclusive", True),
        ({"seconds": 36.0, "meter_factor": 1}, "inconclusive", True),
        ({"seconds": 36.0, "gross_btu_ft3": 1026, "meter_factor": 1}, "routine", False),
        ({"seconds": 18.0}, "good", False),
    ],
)
def test_nobody_is_told_to_turn_a_burner_up_for_want_of_a_heating_value(
    inputs: dict[str, Any], verdict: str, doubted: bool
) -> None:
    """A propane burner clocked as natural gas seems 59 % under its plate; a meter in Denver shows a fifth too much."""
    found = run_calculation("gas_input", {"dial_ft3": 2, "plate_btu_h": 410_400, **inputs}).outputs
    assert found["verdict"] == verdict
    assert any("before anybody adjusts" in reason for reason in found["reasons"]) == doubted


def test_the_heating_value_is_that_of_the_gas_that_was_named() -> None:
    gases = [
        run_calculation("gas_input", {"dial_ft3": 1, "seconds": 36, "fuel": f}) for f in ("natural_gas", "propane")
    ]
    assert [found.outputs["input_btu_h"] for found in gases] == pytest.approx([102_600, 251_600])


def test_a_meter_that_stands_still_has_used_nothing() -> None:
    found = run_calculation("meter_use", {"days": [0, 7], "values": [50, 50]}).outputs
    assert found["gallons"] == [0]
    assert found["known_gallons"] == 0
    assert found["gallons_per_day"] == 0
