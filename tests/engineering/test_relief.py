"""Relief capacity against the check table of published values, section 2.2."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.relief import (
    AREA_IN2,
    BORE_IN,
    STAMP_LB_H,
    SURFACE_LB_H_FT2,
    effective_area_in2,
    judge_stamp,
    nozzle_lb_h,
    relief_margin,
    required_lb_h,
    sum_stamps,
)
from fleet.engineering.units import factor
from fleet.errors import Refused
from tests.engineering.outside import LateLibrary, met, said, swept

safety_valve = LateLibrary("fluids.safety_valve")


@pytest.mark.parametrize(
    ("output", "stamps", "required", "adequate"),
    [
        (1_600_000, [900, 750], 1600, True),
        (1_600_000, [1500], 1600, False),
        (1_000_000, [1000], 1000, True),
        (1_000_000, [999.9], 1000, False),
        (1_000_000, [1100, None], 1000, None),
        (1_000_000, [], 1000, False),
    ],
)
def test_stamps_together_cover_the_output_or_do_not(
    output: float, stamps: list[float | None], required: float, adequate: bool | None
) -> None:
    found = sum_stamps(required_lb_h(output), stamps)
    assert (found.required_lb_h, found.adequate) == (required, adequate)


def test_under_the_surface_rule_the_greater_of_the_two_counts() -> None:
    assert required_lb_h(1_000_000, 150, "oil_gas", "firetube") == 1200


@pytest.mark.parametrize("output", [0, -1, float("nan")])
def test_an_output_that_cannot_be_is_refused(output: float) -> None:
    with pytest.raises(ValueError, match="no such boiler"):
        required_lb_h(output)


def test_an_unknown_firing_is_refused() -> None:
    with pytest.raises(ValueError, match="no row"):
        required_lb_h(1_000_000, firing="peat")


def test_a_surface_that_nobody_gave_asks_for_nothing() -> None:
    assert required_lb_h(1_000.0) == 1.0


MARGINS = [  # output, stamps, rule and surface, required, ratio, verdict: published values 2.2
    (1_600_000, [900, 750], {}, 1600, 1.031, "good"),
    (1_600_000, [1500], {}, 1600, 0.9375, "hold"),
    (1_000_000, [1000], {}, 1000, 1.0, "good"),
    (1_000_000, [1100], {"rule": "greater_of", "surface_ft2": 150.0}, 1200, 1100 / 1200, "hold"),
    (1_000_000, [1100], {"rule": "output_only", "surface_ft2": 150.0}, 1000, 1.1, "good"),
]


@pytest.mark.parametrize(("output", "stamps", "rule", "required", "ratio", "verdict"), MARGINS)
def test_each_margin_of_the_table_is_met(
    output: float, stamps: list[float | None], rule: dict, required: float, ratio: float, verdict: str
) -> None:
    found, source = relief_margin(output, stamps, **rule), "published values 2.2"
    met("relief", source, f"required for {output}", found.required_lb_h, required, rel=1e-12)
    met("relief", source, f"ratio for {output}, {stamps}", found.ratio or 0.0, ratio, rel=5e-4)
    said("relief", source, f"verdict for {output}, {stamps}", found.judgement.verdict, verdict)


@pytest.mark.parametrize(
    ("stamps", "verdict"),
    [([999.999], "hold"), ([1000.0], "good"), ([999.9996], "good"), ([0.1] * 10 + [999.0], "good")],
)
def test_capacity_is_compared_to_a_thousandth_of_a_pound(stamps: list[float | None], verdict: str) -> None:
    assert relief_margin(1_000_000, stamps).judgement.verdict == verdict
    assert sum_stamps(required_lb_h(1_000_000), stamps).adequate == (verdict == "good")


@pytest.mark.parametrize(("stamp", "possible"), [(25_000.0, True), (25_000.1, False), (900_500.0, False)])
def test_no_stamp_is_larger_than_the_largest_valve_can_pass(stamp: float, possible: bool) -> None:
    assert (STAMP_LB_H.faults("stamped_lb_h", stamp) == []) == possible
    assert nozzle_lb_h(15.904, 34.7) == pytest.approx(24_954, abs=1)


@pytest.mark.parametrize(("bore", "possible"), [(0.0, False), (4.5, True), (4.51, False)])
def test_no_bore_is_wider_than_the_largest_valve(bore: float, possible: bool) -> None:
    assert (BORE_IN.faults("bore_in", bore) == []) == possible


@pytest.mark.parametrize(("area", "possible"), [(0.0, False), (16.0, True), (16.01, False)])
def test_no_bore_has_more_area_than_the_largest_valve(area: float, possible: bool) -> None:
    assert (AREA_IN2.faults("area_in2", area) == []) == possible


def test_a_stamp_is_plausible_up_to_what_its_bore_passes_and_down_to_a_twentieth() -> None:
    most = nozzle_lb_h(math.pi / 4 * 1.25**2, 34.7)
    verdicts = [judge_stamp(stamp, 1.25).verdict for stamp in (most, most + 0.01, most / 20, most / 20 - 0.01)]
    assert verdicts == ["good", "urgent", "good", "urgent"]


def test_a_short_margin_says_by_how_much() -> None:
    assert "6.25% short" in relief_margin(1_600_000, [1500]).judgement.sentences[0]


def test_an_unknown_stamp_is_urgent_even_beside_enough() -> None:
    found = relief_margin(1_000_000, [1200, None])
    assert (found.judgement.verdict, found.ratio) == ("urgent", None)


def test_no_valve_is_a_hold() -> None:
    assert relief_margin(1_000_000, []).judgement.verdict == "hold"


@pytest.mark.parametrize(
    ("firing", "kind", "printed"),
    [("hand", "firetube", 5), ("hand", "watertube", 6), ("stoker", "firetube", 7), ("stoker", "watertube", 8),
     ("oil_gas", "firetube", 8), ("oil_gas", "watertube", 10)],
)  # fmt: skip
def test_the_surface_table_is_the_printed_one(firing: str, kind: str, printed: float) -> None:
    met("relief", "COMAR 09.12.01.11 (S7)", f"{firing} {kind}", SURFACE_LB_H_FT2[firing, kind], printed, within=0)
    assert required_lb_h(1000.0, 100.0, firing, kind) == printed * 100


@pytest.mark.parametrize(
    ("area", "psia", "k", "printed"),
    [(1.0, 34.7, 0.878, 1569.0), (1.0, 31.7, 0.878, 1433.4), (0.5, 34.7, 0.878, 784.5), (1.2272, 34.7, 0.878, 1925.5)],
)
def test_the_nozzle_formula_gives_the_printed_capacity(area: float, psia: float, k: float, printed: float) -> None:
    met("relief", "W = 51.5 A P K (S16)", f"{area} in2 at {psia}", nozzle_lb_h(area, psia, k), printed, rel=1e-3)


def test_without_a_coefficient_the_greatest_allowed_is_taken() -> None:
    met(
        "relief",
        "0.9 x 0.975 (S15)",
        "K at most",
        nozzle_lb_h(1.0, 34.7) / nozzle_lb_h(1.0, 34.7, 1.0),
        0.878,
        within=1e-9,
    )


def test_the_rule_in_kilowatts_is_the_same_rule() -> None:
    kg_h = required_lb_h(1000 / factor("Btu/h", "kW")) * factor("lb/h", "kg/h")
    met("relief", "HG-400.1(d), kW / 0.646 (S2)", "kg/h for 1000 kW", kg_h, 1000 / 0.646, rel=1e-3)


def test_the_older_nozzle_formula_is_a_seven_hundredth_smaller() -> None:
    """Napier's A P / 70 in lb/s: another constant, 51.43, kept apart from what is met."""
    napier = 3600 / 70 * 34.7
    assert napier == pytest.approx(1784.6, abs=0.1)
    assert nozzle_lb_h(1.0, 34.7, 1.0) / napier == pytest.approx(1 + 1 / 700, abs=1e-4)


def test_the_worked_example_gives_its_effective_area_and_air_capacity() -> None:
    area = effective_area_in2(3020.0, 234.7)
    met("relief", "ASME VIII worked example (S17)", "K A of 3020 lb/h", area, 0.24985, rel=1e-3)
    air = 356 * area * 234.7 * math.sqrt(28.97 / 560)
    met("relief", "ASME VIII worked example (S17)", "the same as air", air, 4748, rel=1e-3)


def test_a_bore_of_an_inch_and_a_quarter_has_its_printed_area() -> None:
    met("relief", "published values 2.1", "1-1/4 in bore", math.pi / 4 * 1.25**2, 1.2272, rel=1e-4)


def test_an_independent_sizing_asks_for_the_area_that_passes_the_flow() -> None:
    areas, pressures = np.meshgrid(np.linspace(0.2, 10, 12), np.linspace(25, 60, 12))
    ours = [nozzle_lb_h(a, p, 0.878) for a, p in zip(areas.ravel(), pressures.ravel(), strict=True)]
    kg_s, pascal = factor("lb/h", "kg/h") / 3600, factor("psi", "Pa")
    asked = [
        safety_valve.API520_A_steam(m=w * kg_s, T=450.0, P1=p * pascal, Kd=0.878) / factor("in2", "cm2") * 1e4
        for w, p in zip(ours, pressures.ravel(), strict=True)
    ]
    swept("relief", "fluids, API 520 steam", "area for the flow, in2", areas, asked, rel=2e-3)


@pytest.mark.parametrize(
    ("stamp", "bore", "verdict"),
    [(1500, 1.25, "good"), (1930, 1.25, "urgent"), (15, 1.25, "urgent"), (400, 1.0, "good")],
)
def test_a_stamp_must_go_with_its_bore(stamp: float, bore: float, verdict: str) -> None:
    assert judge_stamp(stamp, bore).verdict == verdict


@given(st.floats(1e3, 1e8), st.lists(st.floats(1, 25_000), min_size=1, max_size=4), st.floats(1, 1e4))
def test_another_valve_never_makes_it_worse(output: float, stamps: list[float], more: float) -> None:
    before, after = relief_margin(output, list(stamps)), relief_margin(output, [*stamps, more])
    assert (after.ratio or 0) > (before.ratio or 0)
    assert before.judgement.verdict == "hold" or after.judgement.verdict == "good"


@given(st.floats(1e3, 1e8), st.lists(st.floats(1, 12_500), min_size=1, max_size=4), st.floats(0.5, 2))
def test_the_margin_knows_no_scale(output: float, stamps: list[float], times: float) -> None:
    scaled = relief_margin(output * times, [stamp * times for stamp in stamps])
    assert scaled.ratio == pytest.approx(relief_margin(output, list(stamps)).ratio, rel=1e-9)


@given(st.floats(1e3, 1e8), st.floats(1, 1e4))
def test_the_greater_of_rule_never_asks_for_less(output: float, surface: float) -> None:
    assert required_lb_h(output, surface) >= required_lb_h(output)


def test_every_fault_of_a_margin_is_told_at_once() -> None:
    with pytest.raises(Refused) as refused:
        relief_margin(0.0, [1000.0, -5.0, float("nan")], rule="neither")
    assert [f.at for f in refused.value.faults] == [
        ("output_btu_h",),
        ("stamped_lb_h", 1),
        ("stamped_lb_h", 2),
        ("rule",),
    ]


@pytest.mark.parametrize(
    ("name", "value"), [("surface_ft2", -1.0), ("surface_ft2", 20_001.0), ("firing", "peat"), ("kind", "brick")]
)
def test_a_build_that_cannot_be_is_refused_at_its_place(name: str, value: object) -> None:
    with pytest.raises(Refused) as refused:
        relief_margin(1e6, [1000.0], **{name: value})  # type: ignore[arg-type]
    assert [fault.at for fault in refused.value.faults] == [(name,)]


def test_the_rule_with_the_table_needs_the_surface() -> None:
    with pytest.raises(Refused, match="surface_missing"):
        relief_margin(1e6, [1000.0], rule="greater_of")


@pytest.mark.parametrize("output", [float("inf"), -1.0])
def test_an_output_that_cannot_be_is_refused_by_code(output: float) -> None:
    with pytest.raises(Refused) as refused:
        required_lb_h(output)
    assert refused.value.faults[0].code == "no_such_boiler"
