"""What a burner fires, against the printed clockings and nozzles."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import firing
from fleet.errors import Refused
from tests.engineering.outside import make_quantity, met

SOURCE = "published values 6.5"


@pytest.mark.parametrize(
    ("dial", "seconds", "value", "flow", "printed"),
    [
        (2, 36, 1036, 200, 207_200),
        (1, 30, 1020, 120, 122_400),
        (10, 90, 1037, 400, 414_800),
        (2, 18, 1000, 400, 400_000),
    ],
)
def test_clocking_gives_the_printed_input(
    dial: float, seconds: float, value: float, flow: float, printed: float
) -> None:
    what = f"{dial} ft3 in {seconds} s"
    met("combustion", SOURCE, f"{what}, ft3/h", firing.gas_flow_ft3_h(float(dial), float(seconds)), flow, rel=1e-12)
    met("combustion", SOURCE, what, firing.gas_input_btu_h(float(dial), float(seconds), value), printed, rel=1e-12)


@pytest.mark.parametrize(("gph", "value", "printed"), [(3.0, 138_500, 415_500), (5.5, 140_000, 770_000)])
def test_oil_gives_the_printed_input(gph: float, value: float, printed: float) -> None:
    met("combustion", SOURCE, f"{gph} gal/h", firing.oil_input_btu_h(gph, value), printed, rel=1e-12)


def test_a_nozzle_at_140_psi_flows_what_is_printed() -> None:
    met("combustion", SOURCE, "nozzle 3.00 at 140 psi", firing.nozzle_gph(3.0, 140.0), 3.55, within=0.005)


@pytest.mark.parametrize(
    ("psig", "f", "printed"), [(0.0, 60.0, 0.998), (2.0, 60.0, 1.134), (0.25, 40.0, 1.055), (5.0, 80.0, 1.287)]
)
def test_a_meter_without_compensation_counts_by_the_gas_law(psig: float, f: float, printed: float) -> None:
    """By hand: (14.696 + psig) / 14.73 x 520 / (460 + F)."""
    assert firing.gas_factor(psig, f) == pytest.approx(printed, abs=1e-3)


@pytest.mark.parametrize(
    ("ratio", "verdict"),
    [
        (1.0, "good"),
        (1.05, "good"),
        (0.95, "good"),
        (1.08, "routine"),
        (1.10, "routine"),
        (1.11, "urgent"),
        (0.5, "routine"),
    ],
)
def test_an_input_is_graded_against_the_plate(ratio: float, verdict: str) -> None:
    assert firing.judge_input(400_000 * ratio, 400_000).verdict == verdict


@given(st.floats(0.1, 100), st.floats(1, 1000), st.floats(500, 3000))
def test_clocking_has_the_dimensions_of_volume_over_time_times_value(dial: float, seconds: float, value: float) -> None:
    power = make_quantity(dial, "foot**3") / make_quantity(seconds, "second") * make_quantity(value, "Btu_it/foot**3")
    assert firing.gas_input_btu_h(dial, seconds, value) == pytest.approx(power.to("Btu_it/hour").magnitude, rel=1e-9)


@given(st.floats(0.1, 100), st.floats(1, 1000), st.floats(1.01, 10))
def test_a_slower_dial_is_a_smaller_fire(dial: float, seconds: float, times: float) -> None:
    slower = firing.gas_input_btu_h(dial, seconds * times, 1026)
    assert slower == pytest.approx(firing.gas_input_btu_h(dial, seconds, 1026) / times, rel=1e-9)


@given(st.floats(0.1, 50), st.floats(50, 300))
def test_a_nozzle_s_stamp_comes_back_at_the_pressure_it_is_stamped_for(gph: float, psi: float) -> None:
    assert firing.nozzle_gph(firing.nozzle_gph(gph, psi), 100.0, psi) == pytest.approx(gph, rel=1e-12)


@pytest.mark.parametrize("seconds", [0.0, -30.0, float("nan"), float("inf")])
def test_a_time_that_cannot_be_is_refused(seconds: float) -> None:
    with pytest.raises(Refused) as refused:
        firing.gas_input_btu_h(2.0, seconds, 1026.0)
    assert {fault.at for fault in refused.value.faults} == {("seconds",)}
