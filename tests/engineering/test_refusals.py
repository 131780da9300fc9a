"""Every formula refuses what cannot be, with a code, a sentence and the place, and never answers it with a number."""

import inspect
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import (
    air,
    checks,
    combustion,
    firing,
    ladder,
    makeup,
    ratings,
    relief,
    steam,
    trend,
    units,
    water,
)
from fleet.engineering.checks import Impossible, Range, as_number
from fleet.errors import Refused

POSSIBLE: list[tuple[Callable[..., Any], dict[str, Any]]] = [
    (units.convert, {"value": 1.0, "unit": "psi", "to": "kPa"}),
    (units.atmosphere_psia, {"altitude_ft": 100.0}),
    (units.absolute_psia, {"pressure_psig": 2.0, "atmosphere_psia": 14.7}),
    (units.gauge_psig, {"pressure_psia": 16.7, "atmosphere_psia": 14.7}),
    (steam.saturation_f, {"pressure_psia": 16.7}),
    (steam.saturation_psia, {"temperature_f": 212.0}),
    (steam.liquid_btu_lb, {"pressure_psia": 16.7}),
    (steam.vapour_btu_lb, {"pressure_psia": 16.7}),
    (steam.evaporation_btu_lb, {"pressure_psia": 16.7}),
    (steam.vapour_ft3_lb, {"pressure_psia": 16.7}),
    (steam.vapour_lb_ft3, {"pressure_psia": 16.7}),
    (steam.liquid_lb_ft3, {"pressure_psia": 16.7}),
    (steam.water_btu_lb, {"temperature_f": 60.0}),
    (steam.water_lb_ft3, {"temperature_f": 60.0}),
    (steam.water_lb_gal, {"temperature_f": 60.0}),
    (ladder.cut_in, {"main_psi": 1.0, "differential_psi": 1.0, "sense": "additive"}),
    (ladder.cut_out, {"main_psi": 1.0, "differential_psi": 1.0, "sense": "additive"}),
    (ladder.sense_from_readings, {"main_psi": 1.0, "differential_psi": 1.0, "seen_in_psi": 1.0, "seen_out_psi": 2.0}),
    (relief.nozzle_lb_h, {"area_in2": 1.0, "flow_psia": 34.7, "coefficient": 0.8}),
    (relief.effective_area_in2, {"stamp_lb_h": 1000.0, "flow_psia": 34.7}),
    (relief.judge_stamp, {"stamp_lb_h": 1000.0, "bore_in": 1.25, "set_psig": 15.0}),
    (water.evaporation_lb_h, {"output_btu_h": 1e6, "pressure_psia": 16.7}),
    (water.evaporation_cold_lb_h, {"output_btu_h": 1e6, "pressure_psia": 16.7, "feed_f": 60.0}),
    (water.feed_heat_btu_h, {"feed_gpm": 1.0, "feed_f": 60.0, "pressure_psia": 16.7}),
    (water.feed_lb_h, {"feed_gpm": 1.0, "feed_f": 60.0}),
    (water.steam_made_lb, {"input_btu": 1e8, "efficiency_percent": 80.0, "pressure_psia": 16.7}),
    (water.weight_per_inch_lb, {"surface_ft2": 20.0, "pressure_psia": 16.7}),
    (water.gallons_per_inch, {"surface_ft2": 20.0}),
    (water.column_in_per_psi, {"water_f": 60.0}),
    (
        water.level_fall,
        {
            "drop_in": 1.0,
            "surface_ft2": 20.0,
            "output_btu_h": 1e6,
            "pressure_psia": 16.7,
            "return_share": 0.5,
            "feed_gpm": 0.1,
            "feed_f": 60.0,
        },
    ),
    (
        water.level_falls,
        {
            "normal_in": 4.0,
            "cutoff_in": 2.0,
            "lowest_in": 1.0,
            "surface_ft2": 20.0,
            "output_btu_h": 1e6,
            "pressure_psia": 16.7,
            "return_share": 0.5,
            "feed_gpm": 0.1,
        },
    ),
    (makeup.use_per_day, {"gallons": 10.0, "days": 5.0}),
    (makeup.use_per_degree_day, {"gallons": 10.0, "degree_days": 5.0}),
    (makeup.share_of_steam_percent, {"gallons": 10.0, "steam_lb": 1e4, "water_f": 60.0}),
    (combustion.excess_air_percent, {"o2_percent": 5.0}),
    (combustion.excess_air_plain_percent, {"o2_percent": 5.0}),
    (combustion.co2_percent, {"o2_percent": 5.0}),
    (combustion.co_air_free_ppm, {"co_ppm": 50.0, "o2_percent": 5.0}),
    (combustion.dilution_times, {"o2_before_percent": 5.0, "o2_after_percent": 9.0}),
    (combustion.dew_point_f, {"o2_percent": 5.0, "atmosphere_psia": 14.7}),
    (combustion.stack_loss_gross_percent, {"o2_percent": 5.0, "stack_f": 400.0, "room_f": 70.0}),
    (combustion.efficiency_gross_percent, {"o2_percent": 5.0, "stack_f": 400.0, "room_f": 70.0}),
    (combustion.siegert_loss_net_percent, {"o2_percent": 5.0, "difference_f": 300.0}),
    (combustion.siegert_loss_net_by_co2_percent, {"co2_percent": 10.0, "difference_f": 300.0}),
    (combustion.saving_percent, {"efficiency_now_percent": 78.0, "efficiency_after_percent": 83.0}),
    (combustion.judge_co, {"co_ppm": 50.0, "o2_percent": 5.0}),
    (combustion.judge_room_co, {"co_ppm": 5.0, "outdoors_ppm": 1.0, "again_ppm": 5.0}),
    (firing.gas_factor, {"gas_psig": 0.3, "gas_f": 60.0, "atmosphere_psia": 14.7, "base_psia": 14.73}),
    (firing.gas_flow_ft3_h, {"dial_ft3": 2.0, "seconds": 36.0}),
    (firing.gas_input_btu_h, {"dial_ft3": 2.0, "seconds": 36.0, "gross_btu_ft3": 1026.0, "meter_factor": 1.0}),
    (firing.nozzle_gph, {"rated_gph": 3.0, "pump_psi": 140.0, "rated_psi": 100.0}),
    (firing.oil_input_btu_h, {"flow_gph": 3.0, "gross_btu_gal": 138_690.0}),
    (firing.input_ratio, {"input_btu_h": 4e5, "plate_btu_h": 4e5}),
    (firing.judge_input, {"input_btu_h": 4e5, "plate_btu_h": 4e5}),
    (air.openings_needed, {"method": "two_direct", "input_btu_h": 1e6, "vent_connectors_in2": 50.0}),
    (air.room_volume_ft3, {"input_btu_h": 1e6}),
    (air.room_volume_by_air_changes_ft3, {"ach": 0.4, "other_btu_h": 1e6, "fan_btu_h": 1e5}),
    (air.gross_area_in2, {"free_in2": 300.0, "louvre": "metal"}),
    (air.free_area_in2, {"width_in": 20.0, "height_in": 20.0}),
    (air.judge_room, {"volume_ft3": 5000.0, "input_btu_h": 8e4}),
    (ratings.boiler_horsepower, {"output_btu_h": 1e6}),
    (ratings.from_and_at_lb_h, {"output_btu_h": 1e6}),
    (ratings.edr_ft2, {"power_btu_h": 1e6}),
    (ratings.net_btu_h, {"gross_btu_h": 1e6, "allowance": 1.333}),
    (ratings.gross_btu_h, {"net_btu_h": 1e6, "allowance": 1.333}),
    (ratings.pick_up_percent, {"gross_btu_h": 1e6, "connected_edr_ft2": 3000.0}),
    (ratings.condensing_lb_h, {"connected_edr_ft2": 3000.0}),
    (ratings.feed_rate_gpm, {"connected_edr_ft2": 3000.0}),
]
NUMBERS = [(f, good, name) for f, good in POSSIBLE for name, value in good.items() if isinstance(value, float)]
BAD = [math.nan, math.inf, -math.inf, True, "5", 10**400, 10**5000, 1e300, 1j]
MAYBE_UNKNOWN = {"again_ppm"}
# Held apart: lists, readings and whole ladders have their own cases in their own files.
APART = {
    "judge_ladder",
    "faults_of_gauge",
    "find_ladder_faults",
    "relief_margin",
    "relief_capacity",
    "sum_stamps",
    "is_over_fifteen",
    "is_lowest_line_doubtful",
    "question_lowest_line",
    "required_lb_h",
    "judge_openings",
    "water_uses",
    "judge_change",
    "heating_degree_days",
    "faults_of_flue_o2",
    "factor",
    "si_unit",
}


def label(value: object) -> str | None:
    return f"{value.__module__.rpartition('.')[2]}.{value.__name__}" if callable(value) else None


def public(module: Any) -> set[str]:
    found = inspect.getmembers(module, inspect.isfunction)
    return {name for name, f in found if f.__module__ == module.__name__ and not name.startswith("_")}


@pytest.mark.parametrize("module", [air, combustion, firing, ladder, makeup, ratings, relief, steam, units, water])
def test_no_formula_is_left_out_of_these_cases(module: Any) -> None:
    told = {f.__name__ for f, _ in POSSIBLE if f.__module__ == module.__name__}
    assert public(module) - told - APART == set()


@pytest.mark.parametrize(("function", "good"), POSSIBLE, ids=label)
def test_each_formula_answers_what_is_possible(function: Callable[..., Any], good: dict[str, Any]) -> None:
    found = function(**good)
    assert found is not None
    assert not isinstance(found, float) or math.isfinite(found)


@pytest.mark.parametrize(("function", "good", "name"), NUMBERS, ids=label)
def test_each_number_of_each_formula_is_checked(function: Callable[..., Any], good: dict[str, Any], name: str) -> None:
    """1e300 among them: no range is so wide that an answer could overflow."""
    for bad in BAD if name in MAYBE_UNKNOWN else [*BAD, None]:
        with pytest.raises(Refused) as refused:
            function(**{**good, name: bad})
        assert {fault.at[0] for fault in refused.value.faults} == {name}, bad
        assert all(fault.message and fault.code for fault in refused.value.faults)


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(Refused) as refused:
        combustion.efficiency_gross_percent(21.0, math.nan, 500.0, "coal")
    assert [fault.at for fault in refused.value.faults] == [("o2_percent",), ("stack_f",), ("room_f",), ("fuel",)]


def test_a_refusal_says_what_was_given_what_is_possible_and_why() -> None:
    with pytest.raises(Refused) as refused:
        firing.gas_flow_ft3_h(2.0, -36.0)
    told = "seconds: -36 is not over 0 up to 86,400 s: a turn of the dial takes time, and less than a day."
    assert refused.value.faults[0].message == told


def test_a_refusal_of_a_formula_is_a_value_error_too() -> None:
    assert issubclass(Impossible, ValueError)
    assert issubclass(Impossible, Refused)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
def test_in_an_array_the_first_bad_place_is_named_and_the_others_counted(bad: float) -> None:
    values = np.array([[14.7, 14.7], [bad, bad]])
    with pytest.raises(Refused, match="1 more like it") as refused:
        steam.saturation_f(values)
    assert refused.value.faults[0].at == ("pressure_psia", 1, 0)


@pytest.mark.parametrize("bad", [np.array([True]), np.array(["5"]), np.array([1j]), np.array([None])])
def test_an_array_of_no_numbers_is_refused(bad: np.ndarray) -> None:
    with pytest.raises(Refused, match="holds no numbers"):
        steam.saturation_f(bad)


def test_an_empty_array_has_an_empty_answer() -> None:
    assert steam.saturation_f(np.array([])).shape == (0,)
    assert steam.vapour_btu_lb(np.array([])).shape == (0,)


def test_whole_numbers_in_an_array_are_numbers() -> None:
    assert steam.saturation_f(np.array([15, 30])) == pytest.approx(steam.saturation_f(np.array([15.0, 30.0])))


def test_arrays_that_do_not_go_together_are_refused() -> None:
    with pytest.raises(Refused, match=r"co_ppm, o2_percent: arrays of \(3,\), \(2,\) do not go together\.$"):
        combustion.co_air_free_ppm(np.ones(3), np.ones(2))


def test_large_finite_numbers_whose_sum_overflows_are_still_numbers() -> None:
    assert Range("").faults("x", np.full(3, 1.7e308)) == []


@given(st.floats())
def test_a_number_is_finite_or_none(value: float) -> None:
    assert (as_number(value) is not None) == math.isfinite(value)


@pytest.mark.parametrize("end", [-5.0, 5.0])
@pytest.mark.parametrize("belongs", [True, False])
def test_a_bound_is_possible_exactly_where_it_belongs(end: float, belongs: bool) -> None:
    asked = Range("", -5, 5, belongs, belongs)
    assert (asked.faults("x", end) == []) == belongs
    assert (asked.faults("x", np.array([end])) == []) == belongs


@given(st.floats(-10, 10), st.booleans(), st.booleans())
def test_a_bound_belongs_or_does_not(value: float, low_in: bool, high_in: bool) -> None:
    asked = Range("", -5, 5, low_in, high_in)
    inside = (value >= -5 if low_in else value > -5) and (value <= 5 if high_in else value < 5)
    assert (not asked.faults("x", value)) == inside
    assert (not asked.faults("x", np.array([0.0, value]))) == inside


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Range("psi", 0, 15), "from 0 up to 15 psi"),
        (Range("%", 0, 20.9, high_in=False), "from 0 under 20.9 %"),
        (Range("s", 0, low_in=False), "over 0 s"),
        (Range(""), "any number"),
    ],
)
def test_a_range_reads_as_people_write_it(asked: Range, words: str) -> None:
    assert asked.as_words() == words


def test_a_long_value_is_shown_short() -> None:
    assert len(checks.faults_of_choice("fuel", "x" * 500, ["a"])[0].message) < 100


TOGETHER: list[tuple[Callable[[], Any], str, tuple[str | int, ...]]] = [
    (lambda: combustion.dilution_times(9.0, 5.0), "oxygen_fell", ("o2_after_percent",)),
    (lambda: combustion.efficiency_gross_percent(5.0, 60.0, 70.0), "stack_colder_than_room", ("stack_f",)),
    (lambda: combustion.efficiency_gross_percent(5.0, 110.0, 70.0), "stack_condensing", ("stack_f",)),
    (lambda: combustion.siegert_loss_net_by_co2_percent(14.0, 300.0), "co2_over_most", ("co2_percent",)),
    (lambda: air.openings_needed("one_outdoor", 1e6), "connectors_missing", ("vent_connectors_in2",)),
    (lambda: relief.relief_margin(1e6, [1000.0], rule="greater_of"), "surface_missing", ("surface_ft2",)),
    (lambda: relief.required_lb_h(0.0), "no_such_boiler", ("output_btu_h",)),
    (lambda: relief.required_lb_h(1e6, firing="peat"), "unknown_choice", ("firing",)),
    (lambda: water.evaporation_cold_lb_h(1e6, 16.7, 230.0), "feed_over_boiling", ("feed_f",)),
    (lambda: ladder.cut_out(1.0, 1.0, "sideways"), "unknown_choice", ("sense",)),
    (lambda: units.convert(1.0, "psi", "F"), "other_kind", ("to",)),
    (lambda: units.convert(1.0, "furlong", "F"), "unknown_unit", ("unit",)),
    (lambda: units.convert(1.0, "F", "furlong"), "unknown_unit", ("to",)),
    (lambda: units.factor("F", "C"), "no_factor", ("to",)),
]


@pytest.mark.parametrize(("run", "code", "at"), TOGETHER)
def test_what_is_impossible_together_is_refused_by_its_code_at_its_place(
    run: Callable[[], Any], code: str, at: tuple[str | int, ...]
) -> None:
    with pytest.raises(Refused) as refused:
        run()
    fault = refused.value.faults[0]
    assert (fault.code, fault.at) == (code, at)


def test_arrays_that_do_not_go_together_are_refused_at_the_first_of_them() -> None:
    with pytest.raises(Refused) as refused:
        combustion.co_air_free_ppm(np.ones(3), np.ones(2))
    assert (refused.value.faults[0].code, refused.value.faults[0].at) == ("shapes", ("co_ppm",))


def test_of_pairs_in_an_array_the_first_that_is_impossible_is_named() -> None:
    with pytest.raises(Refused) as refused:
        combustion.dilution_times(np.array([5.0, 9.0, 9.0]), np.array([9.0, 5.0, 6.0]))
    assert refused.value.faults[0].at == ("o2_after_percent", 1)
    with pytest.raises(Refused) as refused:
        combustion.dilution_times(np.array([5.0, 9.0]), np.array([9.0, 5.0]))
    assert refused.value.faults[0].at == ("o2_after_percent", 1)


@pytest.mark.parametrize(
    ("run", "message"),
    [
        (lambda: units.convert(1.0, "psi", "F"), "psi is a pressure, F a temperature."),
        (lambda: trend.stack_trend([0.0, 0.0], [1.0, 1.0]), "days: two readings on one instant have no order."),
        (lambda: units.convert(1.0, "furlong", "F"), "'furlong' is none of the units known here."),
        (
            lambda: combustion.dew_point_f(5.0, "coal"),
            "fuel: 'coal' is none of natural_gas, oil_2, propane.",
        ),
    ],
)
def test_a_refusal_says_it_in_these_words(run: Callable[[], Any], message: str) -> None:
    with pytest.raises(Refused) as refused:
        run()
    assert refused.value.faults[0].message == message


def test_a_stack_as_warm_as_the_room_is_no_mistake() -> None:
    """In a hot boiler room: what is lost then is the heat in the water vapor alone."""
    assert combustion.stack_loss_gross_percent(5.0, 200.0, 200.0) == pytest.approx(100 * 2 * 44.004 / 899.57, abs=0.001)


def test_a_small_fire_needs_a_small_opening() -> None:
    assert air.openings_needed("two_direct", 1000.0).each_in2 == 0.25
