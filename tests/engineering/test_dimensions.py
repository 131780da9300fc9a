"""Each physical formula written once more with quantities that carry their units: dimensions and numbers must agree."""

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import firing, makeup, ratings, steam, units, water
from fleet.engineering.fuels import FUELS
from tests.engineering.outside import make_quantity

PSIA, WATER_F, OUTPUT, GALLONS = st.floats(8, 40), st.floats(33, 200), st.floats(1e4, 1e7), st.floats(0.1, 1e4)


def in_unit(measured: pint.Quantity, unit: str) -> float:
    """Return the magnitude; a quantity of other dimensions raises."""
    return float(measured.to(unit).magnitude)


@given(st.floats(1, 1000), PSIA)
def test_an_inch_weighs_area_times_height_times_density(surface: float, psia: float) -> None:
    weight = (
        make_quantity(surface, "foot**2")
        * make_quantity(1, "inch")
        * make_quantity(steam.liquid_lb_ft3(psia), "pound/foot**3")
    )
    assert water.weight_per_inch_lb(surface, psia) == pytest.approx(in_unit(weight, "pound"), rel=1e-9)
    assert water.gallons_per_inch(surface) == pytest.approx(
        in_unit(make_quantity(surface, "foot**2 * inch"), "gallon"), rel=1e-9
    )


@given(WATER_F)
def test_a_column_holds_pressure_over_weight(water_f: float) -> None:
    height = make_quantity(1, "psi") / (
        make_quantity(steam.water_lb_ft3(water_f), "pound/foot**3") * make_quantity(1, "standard_gravity")
    )
    assert water.column_in_per_psi(water_f) == pytest.approx(in_unit(height, "inch"), rel=1e-6)


@given(st.floats(0, 100), WATER_F)
def test_feed_is_flow_times_density(gpm: float, feed_f: float) -> None:
    flow = make_quantity(gpm, "gallon/minute") * make_quantity(steam.water_lb_ft3(feed_f), "pound/foot**3")
    assert water.feed_lb_h(gpm, feed_f) == pytest.approx(in_unit(flow, "pound/hour"), rel=1e-9, abs=1e-12)


@given(OUTPUT, PSIA)
def test_evaporation_is_power_over_heat(output: float, psia: float) -> None:
    made = make_quantity(output, "Btu_it/hour") / make_quantity(steam.evaporation_btu_lb(psia) * 2.326, "kJ/kg")
    assert water.evaporation_lb_h(output, psia) == pytest.approx(in_unit(made, "pound/hour"), rel=1e-9)


@given(GALLONS, st.floats(1e3, 1e6), WATER_F)
def test_the_share_of_make_up_is_a_bare_number(gallons: float, steam_lb: float, water_f: float) -> None:
    weight = make_quantity(gallons, "gallon") * make_quantity(steam.water_lb_ft3(water_f), "pound/foot**3")
    share = in_unit(weight / make_quantity(steam_lb, "pound"), "dimensionless")
    assert makeup.share_of_steam_percent(gallons, steam_lb, water_f) == pytest.approx(100 * share, rel=1e-9)


@given(st.floats(0, 10), st.floats(0, 120), st.floats(11, 15))
def test_a_meter_s_factor_is_the_gas_law(psig: float, gas_f: float, atmosphere: float) -> None:
    there = (make_quantity(atmosphere, "psi") + make_quantity(psig, "psi")) / make_quantity(
        units.convert(gas_f, "F", "K"), "kelvin"
    )
    base = make_quantity(14.73, "psi") / make_quantity(units.convert(60.0, "F", "K"), "kelvin")
    assert firing.gas_factor(psig, gas_f, atmosphere) == pytest.approx(in_unit(there / base, "dimensionless"), rel=1e-9)


@given(st.floats(0.5, 30))
def test_oil_input_is_flow_times_value(gph: float) -> None:
    power = make_quantity(gph, "gallon/hour") * make_quantity(FUELS["oil_2"].gross, "Btu_it/gallon")
    assert firing.oil_input_btu_h(gph, FUELS["oil_2"].gross) == pytest.approx(in_unit(power, "Btu_it/hour"), rel=1e-9)


@given(OUTPUT)
def test_evaporation_from_and_at_212_is_power_over_heat(output: float) -> None:
    made = make_quantity(output, "Btu_it/hour") / make_quantity(
        steam.evaporation_btu_lb(units.STANDARD_ATMOSPHERE_PSIA), "Btu_it/pound"
    )
    assert ratings.from_and_at_lb_h(output) == pytest.approx(in_unit(made, "pound/hour"), rel=1e-9)


def test_wrong_dimensions_do_not_pass() -> None:
    with pytest.raises(pint.DimensionalityError):
        in_unit(make_quantity(1, "foot**2") * make_quantity(1, "inch"), "pound")
