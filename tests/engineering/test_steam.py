"""Steam against IAPWS's own check values, the printed table, and libraries of other formulations."""

from collections.abc import Callable

import numpy as np
import pytest
import seuif97
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import steam
from fleet.engineering.units import convert, factor
from tests.engineering.outside import LateLibrary, met, swept

cool, iapws = LateLibrary("CoolProp.CoolProp"), LateLibrary("iapws")

MPA = factor("psia", "MPa abs")
TABLE = [  # psig at 14.696 psia, F, h_f, h_fg, h_g Btu/lb, v_g ft3/lb, lb/ft3: published values 1.2
    (0, 211.954, 180.13, 970.14, 1150.27, 26.804, 59.829),
    (1, 215.293, 183.50, 968.03, 1151.53, 25.203, 59.746),
    (2, 218.460, 186.69, 966.01, 1152.71, 23.789, 59.665),
    (5, 227.104, 195.42, 960.47, 1155.90, 20.382, 59.442),
    (10, 239.357, 207.82, 952.49, 1160.31, 16.494, 59.115),
    (15, 249.718, 218.33, 945.60, 1163.94, 13.880, 58.828),
    (20, 258.741, 227.51, 939.50, 1167.01, 11.998, 58.571),
]
GRID = np.linspace(1.0, 100.0, 200)


@pytest.mark.parametrize(("kelvin", "mpa"), [(300, 0.353658941e-2), (500, 0.263889776e1), (600, 0.123443146e2)])
def test_the_pressure_is_that_of_table_35(kelvin: float, mpa: float) -> None:
    ours = steam.saturation_psia(convert(float(kelvin), "K", "F")) * MPA
    met("steam", "IAPWS R7-97 Table 35 (S1)", f"p at {kelvin} K", ours, mpa, rel=1e-8)


@pytest.mark.parametrize(("mpa", "kelvin"), [(0.1, 0.372755919e3), (1, 0.453035632e3), (10, 0.584149488e3)])
def test_the_temperature_is_that_of_table_36(mpa: float, kelvin: float) -> None:
    ours = convert(steam.saturation_f(mpa / MPA), "F", "K")
    met("steam", "IAPWS R7-97 Table 36 (S1)", f"T at {mpa} MPa", ours, kelvin, rel=1e-8)


@pytest.mark.parametrize(
    ("mpa", "kelvin", "m3_kg", "kj_kg"),
    [
        (3, 300, 0.100215168e-2, 0.115331273e3),
        (80, 300, 0.971180894e-3, 0.184142828e3),
        (3, 500, 0.120241800e-2, 0.975542239e3),
        (0.0035, 300, 0.394913866e2, 0.254991145e4),
        (0.0035, 700, 0.923015898e2, 0.333568375e4),
        (30, 700, 0.542946619e-2, 0.263149474e4),
    ],
)
def test_the_library_under_us_meets_tables_5_and_15(mpa: float, kelvin: float, m3_kg: float, kj_kg: float) -> None:
    source = "IAPWS R7-97 Tables 5 and 15, as quoted in public source files"
    met("steam", source, f"v at {mpa} MPa, {kelvin} K", seuif97.pt2v(mpa, kelvin - 273.15), m3_kg, rel=1e-8)
    met("steam", source, f"h at {mpa} MPa, {kelvin} K", seuif97.pt2h(mpa, kelvin - 273.15), kj_kg, rel=1e-8)


@pytest.mark.parametrize(("psig", "f", "liquid", "evaporation", "vapour", "volume", "density"), TABLE)
def test_the_printed_table_is_met(
    psig: float, f: float, liquid: float, evaporation: float, vapour: float, volume: float, density: float
) -> None:
    psia, source = 14.696 + psig, "published values 1.2"
    met("steam", source, f"T at {psig} psig", steam.saturation_f(psia), f, within=0.02)
    met("steam", source, f"h_f at {psig} psig", steam.liquid_btu_lb(psia), liquid, within=0.1)
    met("steam", source, f"h_fg at {psig} psig", steam.evaporation_btu_lb(psia), evaporation, within=0.1)
    met("steam", source, f"h_g at {psig} psig", steam.vapour_btu_lb(psia), vapour, within=0.1)
    met("steam", source, f"v_g at {psig} psig", steam.vapour_ft3_lb(psia), volume, within=0.01)
    met("steam", source, f"density at {psig} psig", steam.liquid_lb_ft3(psia), density, within=0.01)


@pytest.mark.parametrize(("f", "psig"), [(212.0, 0.013), (227.1, 4.998), (250.0, 15.147)])
def test_the_table_turned_round_is_met(f: float, psig: float) -> None:
    met("steam", "published values 1.2", f"psig at {f} F", steam.saturation_psia(f) - 14.696, psig, within=0.01)


@pytest.mark.parametrize(("psia", "f", "evaporation"), [(14.696, 212.0, 970.3), (29.696, 250.0, 945.5)])
def test_the_classic_tables_lie_within_their_own_age(psia: float, f: float, evaporation: float) -> None:
    source = "classic steam tables, published values 1.2"
    met("steam", source, f"T at {psia} psia", steam.saturation_f(psia), f, within=0.5)
    met("steam", source, f"h_fg at {psia} psia", steam.evaporation_btu_lb(psia), evaporation, within=1.0)


@pytest.mark.parametrize(("f", "lb_gal"), [(60.0, 8.337), (50.0, 8.343), (212.0, 8.0)])
def test_a_gallon_weighs_what_is_printed(f: float, lb_gal: float) -> None:
    met("steam", "published values 8", f"a gallon at {f} F", steam.water_lb_gal(f), lb_gal, within=0.005)


def cool_of(what: str, quality: float) -> np.ndarray:
    return cool.PropsSI(what, "P", GRID * MPA * 1e6, "Q", quality, "Water")


def test_another_formulation_agrees_from_1_to_100_psia() -> None:
    kelvin = convert(steam.saturation_f(GRID), "F", "K")
    swept("steam", "CoolProp, IAPWS-95", "T in F", kelvin * 1.8, cool_of("T", 0) * 1.8, within=0.02)
    liquid, vapour = cool_of("H", 0) / 2326, cool_of("H", 1) / 2326
    swept("steam", "CoolProp, IAPWS-95", "h_f", steam.liquid_btu_lb(GRID), liquid, within=0.1)
    swept("steam", "CoolProp, IAPWS-95", "h_g", steam.vapour_btu_lb(GRID), vapour, within=0.2)
    swept("steam", "CoolProp, IAPWS-95", "h_fg", steam.evaporation_btu_lb(GRID), vapour - liquid, within=0.2)
    density = factor("kg/m3", "lb/ft3")
    swept("steam", "CoolProp, IAPWS-95", "density", steam.vapour_lb_ft3(GRID), cool_of("D", 1) * density, rel=1e-3)
    swept("steam", "CoolProp, IAPWS-95", "water", steam.liquid_lb_ft3(GRID), cool_of("D", 0) * density, rel=2e-4)


def test_at_the_pressures_of_a_heating_boiler_the_two_lie_within_what_is_printed() -> None:
    low = GRID[(GRID >= 14.5) & (GRID <= 35)]
    theirs = cool.PropsSI("T", "P", low * MPA * 1e6, "Q", 0, "Water") * 1.8
    swept(
        "steam", "CoolProp, IAPWS-95", "T in F, 14.5 to 35 psia", steam.saturation_f(low) + 459.67, theirs, within=0.004
    )
    for what, ours, quality in (("h_f", steam.liquid_btu_lb, 0), ("h_g", steam.vapour_btu_lb, 1)):
        heats = cool.PropsSI("H", "P", low * MPA * 1e6, "Q", quality, "Water") / 2326
        swept("steam", "CoolProp, IAPWS-95", f"{what}, 14.5 to 35 psia", ours(low), heats, within=0.03)


def test_cold_water_agrees_with_another_formulation_at_atmospheric_pressure() -> None:
    f = np.linspace(33.0, 210.0, 60)
    kelvin = convert(f, "F", "K")
    theirs = cool.PropsSI("H", "P", 101_325, "T", kelvin, "Water") / 2326
    swept("steam", "CoolProp, IAPWS-95", "h of water", steam.water_btu_lb(f), theirs, within=0.1)
    dense = cool.PropsSI("D", "P", 101_325, "T", kelvin, "Water") * factor("kg/m3", "lb/ft3")
    swept("steam", "CoolProp, IAPWS-95", "density of water", steam.water_lb_ft3(f), dense, rel=2e-4)


def test_the_same_equations_written_by_others_agree() -> None:
    some = GRID[::10]
    states = [(iapws.IAPWS97(P=p, x=0), iapws.IAPWS97(P=p, x=1)) for p in some * MPA]
    theirs = np.array([low.T for low, _ in states])
    swept("steam", "iapws, IF97", "T", convert(steam.saturation_f(some), "F", "K"), theirs, rel=1e-9)
    swept("steam", "iapws, IF97", "h_g", steam.vapour_btu_lb(some) * 2.326, [high.h for _, high in states], rel=1e-6)


def test_the_closed_form_and_the_library_give_one_saturation_line() -> None:
    theirs = [seuif97.px2t(p, 0.0) for p in GRID * MPA]
    swept("steam", "seuif97, IF97", "T", convert(steam.saturation_f(GRID), "F", "C"), theirs, rel=1e-13)


@given(st.floats(32.5, 705))
def test_temperature_to_pressure_and_back_is_the_same(f: float) -> None:
    assert steam.saturation_f(steam.saturation_psia(f)) == pytest.approx(f, abs=1e-6)


@given(st.floats(0.1, 2000), st.floats(1.001, 1.5))
def test_more_pressure_boils_hotter_and_leaves_less_to_evaporate(psia: float, times: float) -> None:
    more = min(psia * times, 2390)
    if more > psia:
        assert steam.saturation_f(more) > steam.saturation_f(psia)
        assert steam.evaporation_btu_lb(more) < steam.evaporation_btu_lb(psia)
        assert steam.vapour_lb_ft3(more) > steam.vapour_lb_ft3(psia)


@given(st.floats(0.1, 2000))
def test_the_heat_of_evaporation_follows_the_slope_of_the_line(psia: float) -> None:
    """Clapeyron: dp/dT x T x (v_g - v_f) = h_fg, which ties the line, the volumes and the heats together."""
    step = 1e-4
    slope = 2 * step * psia / (steam.saturation_f(psia * (1 + step)) - steam.saturation_f(psia * (1 - step)))
    volume = steam.vapour_ft3_lb(psia) - 1 / steam.liquid_lb_ft3(psia)
    rankine = convert(steam.saturation_f(psia), "F", "R")
    btu_lb = (
        slope * rankine * volume * factor("psi", "Pa") * factor("ft3/lb", "m3/kg") / 1000 * factor("kJ/kg", "Btu/lb")
    )
    assert btu_lb == pytest.approx(steam.evaporation_btu_lb(psia), rel=2e-3)


@pytest.mark.parametrize(("function", "low", "high"), [(steam.saturation_f, 1, 100), (steam.saturation_psia, 33, 300)])
def test_a_long_array_keeps_shape_and_order(function: Callable, low: float, high: float) -> None:
    values = np.linspace(low, high, 3 * (steam.BLOCK_LENGTH + 5)).reshape(3, -1)
    found = function(values)
    assert found.shape == values.shape
    assert found[:, ::4000] == pytest.approx(function(values[:, ::4000]), rel=1e-15)


@pytest.mark.parametrize(
    "function",
    [
        steam.saturation_f,
        steam.saturation_psia,
        steam.liquid_btu_lb,
        steam.vapour_btu_lb,
        steam.evaporation_btu_lb,
        steam.vapour_ft3_lb,
        steam.vapour_lb_ft3,
        steam.liquid_lb_ft3,
        steam.water_btu_lb,
        steam.water_lb_ft3,
        steam.water_lb_gal,
    ],
)
def test_an_array_gets_what_each_of_its_numbers_gets(function: Callable) -> None:
    values = np.array([[40.0, 60.0, 90.0], [100.0, 150.0, 212.0]])
    one_by_one = [function(float(value)) for value in values.ravel()]
    assert function(values).shape == values.shape
    assert function(values).ravel() == pytest.approx(one_by_one, rel=1e-14)
    assert isinstance(function(60.0), float)
