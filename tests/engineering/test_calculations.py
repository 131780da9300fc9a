"""The register: every offered calculation runs on its example, tells its words, and refuses all faults at once."""

import inspect
import json
import math
from typing import Any

import pytest

from fleet.engineering.calculations import CALCULATIONS, run_calculation
from fleet.engineering.checks import as_number
from fleet.engineering.table.definitions import REQUIRED, CalculationSpec, InputSpec
from fleet.engineering.units import UNITS
from fleet.errors import Refused

EXAMPLES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {  # inputs, some of the outputs
    "steam_at_gauge": ({"pressure_psig": 2.0}, {"temperature_f": 218.46, "evaporation_btu_lb": 966.01}),
    "pressure_at_boiling": ({"temperature_f": 250.0}, {"pressure_psig": 15.147}),
    "ladder": ({"cut_in_psi": 2, "cut_out_psi": 5, "limit_psi": 16, "valve_psi": 15}, {"verdict": "hold"}),
    "control_set_points": ({"main_psi": 2.0, "differential_psi": 1.5, "sense": "subtractive"}, {"cut_in_psi": 0.5}),
    "control_sense": (
        {"main_psi": 0.5, "differential_psi": 1.0, "seen_in_psi": 0.5, "seen_out_psi": 1.5},
        {"sense": "additive"},
    ),
    "control_trip": ({"trip_psi": 2.0, "set_psi": 1.5, "differential_psi": 1.0}, {"grade": "good"}),
    "limit_trip": ({"trip_psi": 14.0, "set_psi": 7.0, "valve_psi": 15.0}, {"grade": "failed"}),
    "relief_margin": (
        {"output_btu_h": 1_600_000, "stamped_lb_h": [900, 750]},
        {"required_lb_h": 1600, "ratio": 1.03125, "verdict": "good"},
    ),
    "stamp_plausible": ({"stamp_lb_h": 1500, "bore_in": 1.25}, {"verdict": "good"}),
    "evaporation": ({"output_btu_h": 1_000_000, "pressure_psig": 2}, {"steam_lb_h": 1035.2, "water_gal_h": 124.2}),
    "inch_of_water": ({"surface_ft2": 20, "pressure_psig": 2}, {"weight_lb": 99.44}),
    "level_fall": (
        {"drop_in": 1, "surface_ft2": 20, "output_btu_h": 1e6, "pressure_psig": 2, "return_share": 1},
        {"minutes": None, "says": "not falling"},
    ),
    "water_times": (
        {"normal_in": 4, "cutoff_in": 3, "lowest_in": 1, "surface_ft2": 20, "output_btu_h": 1e6, "pressure_psig": 2},
        {"minutes_to_cutoff": 5.76, "minutes_to_lowest": 11.53, "verdict": "good"},
    ),
    "cutoff_trip": ({"trip_in": 0}, {"grade": "failed"}),
    "column": ({"water_f": 60}, {"column_in": 27.71}),
    "meter_use": (
        {"days": [0, 7, 14], "values": [99_990, 30, 58], "rolls_at": 100_000},
        {"gallons": [40, 28], "gallons_per_day": 68 / 14},
    ),
    "makeup_per_degree_day": ({"gallons": 30, "degree_days": 60}, {"rate": 0.5}),
    "makeup_share": (
        {"gallons": 300, "input_btu": 1.2e8, "efficiency_percent": 80, "pressure_psig": 2},
        {"share_percent": 2.517},
    ),
    "makeup_change": ({"rates": [4.0, 3.7, 4.4, 3.9, 4.0, 4.6, 3.6, 4.2, 3.8, 12.0]}, {"says": "jump"}),
    "flue_gas": (
        {"o2_percent": 5, "stack_f": 400, "room_f": 70},
        {"efficiency_gross_percent": 81.81, "excess_air_percent": 28.07},
    ),
    "siegert": ({"o2_percent": 3, "difference_f": 270}, {"loss_net_percent": 6.85}),
    "siegert_by_co2": ({"co2_percent": 10.11, "difference_f": 270}, {"loss_net_percent": 6.84}),
    "co_air_free": ({"co_ppm": 50, "o2_percent": 7}, {"air_free_ppm": 75.18}),
    "co_verdict": ({"co_ppm": 280, "o2_percent": 6.3}, {"verdict": "hold"}),
    "co_in_room": ({"co_ppm": 36}, {"verdict": "hold"}),
    "dilution": ({"o2_before_percent": 5, "o2_after_percent": 12.95}, {"times": 2.0}),
    "fuel_saved": ({"efficiency_now_percent": 78.2, "efficiency_after_percent": 83.1}, {"saved_percent": 5.8965}),
    "gas_input": (
        {"dial_ft3": 2, "seconds": 18, "gross_btu_ft3": 1000, "plate_btu_h": 400_000},
        {"input_btu_h": 400_000, "ratio": 1.0, "verdict": "good"},
    ),
    "gas_factor": ({"gas_psig": 2}, {"factor": 1.1335}),
    "oil_input": ({"rated_gph": 3, "pump_psi": 100, "gross_btu_gal": 138_500}, {"input_btu_h": 415_500, "ratio": None}),
    "stack_trend": (
        {"days": [0, 10, 20, 30, 40, 50, 60], "differences_f": [300, 305, 310, 315, 320, 325, 330]},
        {"says": "rising", "slope_f_month": 15.0},
    ),
    "rating": ({"gross_btu_h": 1_000_000}, {"boiler_horsepower": 29.873, "net_btu_h": 750_188}),
    "pick_up": ({"gross_btu_h": 400_000, "connected_edr_ft2": 1250}, {"pick_up_percent": 33.33}),
    "condensate": ({"connected_edr_ft2": 1000}, {"condensing_lb_h": 250, "feed_gpm": 0.5}),
    "air_openings": ({"method": "two_direct", "input_btu_h": 1_275_000}, {"openings": 2, "each_in2": 318.75}),
    "air_openings_verdict": (
        {"method": "two_direct", "input_btu_h": 1_275_000, "free_in2": [319, 200]},
        {"verdict": "urgent"},
    ),
    "air_free_area": ({"width_in": 20, "height_in": 20, "louvre": "metal"}, {"free_in2": 300}),
    "air_gross_area": ({"free_in2": 318.75, "louvre": "wood"}, {"gross_in2": 1275}),
    "air_room": ({"input_btu_h": 80_000}, {"volume_ft3": 4000}),
    "air_room_by_changes": ({"ach": 0.35, "other_btu_h": 1_275_000}, {"volume_ft3": 76_500}),
    "atmosphere": ({"altitude_ft": 5000}, {"atmosphere_psia": 12.228}),
    "convert": ({"value": 15, "unit": "psi", "to": "kPa"}, {"value": 103.42}),
}
ALL = pytest.mark.parametrize("calculation", CALCULATIONS.values(), ids=CALCULATIONS)
BAD: list[object] = [math.nan, math.inf, -math.inf, True, "12", [], {}, 10**400]


def refusal(code: str, inputs: dict[str, Any]) -> Refused:
    with pytest.raises(Refused) as refused:
        run_calculation(code, inputs)
    return refused.value


def test_every_calculation_has_its_example() -> None:
    assert set(EXAMPLES) == set(CALCULATIONS)


@ALL
def test_each_example_gets_its_answer(calculation: CalculationSpec) -> None:
    inputs, expected = EXAMPLES[calculation.code]
    found = run_calculation(calculation.code, inputs).outputs
    assert {name: found[name] for name in expected} == {
        name: pytest.approx(value, rel=1e-3) if as_number(value) is not None else value
        for name, value in expected.items()
    }
    assert set(found) == {output.name for output in calculation.outputs}


@ALL
def test_each_answer_is_plain_data(calculation: CalculationSpec) -> None:
    found = run_calculation(calculation.code, EXAMPLES[calculation.code][0])
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
    good = EXAMPLES[calculation.code][0]
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
