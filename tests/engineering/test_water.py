"""Evaporation and falling levels against the printed tables, and by their own dimensions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import steam, water
from fleet.errors import Refused
from tests.engineering.outside import make_quantity, met, said

SOURCE = "published values 8"
AT_2_PSIG = 16.696
EVAPORATION = [  # Btu/h, psig, lb/h, gal/h at 60 F, gpm
    (33_475, 0, 34.51, 4.14, 0.069),
    (500_000, 2, 517.6, 62.1, 1.035),
    (1_000_000, 0, 1030.8, 123.6, 2.061),
    (1_000_000, 2, 1035.2, 124.2, 2.070),
    (1_600_000, 2, 1656.3, 198.7, 3.311),
    (240, 0, 0.2474, 0.0297, 0.000495),
]


@pytest.mark.parametrize(("output", "psig", "lb_h", "gal_h", "gpm"), EVAPORATION)
def test_evaporation_is_the_printed_one(output: float, psig: float, lb_h: float, gal_h: float, gpm: float) -> None:
    ours = water.evaporation_lb_h(float(output), 14.696 + psig)
    met("water", SOURCE, f"lb/h of {output} at {psig} psig", ours, lb_h, rel=5e-4)
    met("water", SOURCE, f"gal/h of {output} at {psig} psig", ours / steam.water_lb_gal(60.0), gal_h, rel=2e-3)
    met("water", SOURCE, f"gpm of {output} at {psig} psig", ours / steam.water_lb_gal(60.0) / 60, gpm, rel=2e-3)


@pytest.mark.parametrize(
    ("surface", "lb", "gal"), [(8, 39.8, 4.99), (12, 59.7, 7.48), (20, 99.4, 12.47), (40, 198.9, 24.94)]
)
def test_an_inch_of_water_weighs_what_is_printed(surface: float, lb: float, gal: float) -> None:
    met(
        "water",
        SOURCE,
        f"lb/in over {surface} ft2",
        water.weight_per_inch_lb(float(surface), AT_2_PSIG),
        lb,
        within=0.06,
    )
    met("water", SOURCE, f"gal/in over {surface} ft2", water.gallons_per_inch(float(surface)), gal, within=0.006)


@pytest.mark.parametrize(("returned", "minutes"), [(0.0, 5.76), (0.5, 11.53)])
def test_the_level_falls_in_the_printed_time(returned: float, minutes: float) -> None:
    ours = water.level_fall(1, 20, 1_000_000, AT_2_PSIG, returned).minutes
    met("water", SOURCE, f"minutes with {returned} returned", ours or 0.0, minutes, within=0.01)


def test_with_all_condensate_back_the_level_is_not_falling() -> None:
    found = water.level_fall(1, 20, 1_000_000, AT_2_PSIG, 1.0)
    said("water", SOURCE, "all returned", (found.minutes, found.says), (None, "not falling"))


def test_feed_that_outruns_the_steam_is_not_falling_never_a_negative_time() -> None:
    found = water.level_fall(1, 20, 1_000_000, AT_2_PSIG, 0.0, feed_gpm=3.0)
    assert (found.minutes, found.says) == (None, "not falling")
    assert found.net_lb_h < 0


def test_cold_feed_takes_the_printed_heat() -> None:
    met("water", SOURCE, "1 gpm at 50 F in lb/h", water.feed_lb_h(1.0, 50.0), 500.6, rel=5e-3)
    met("water", SOURCE, "1 gpm at 50 F to boiling", water.feed_heat_btu_h(1.0, 50.0, AT_2_PSIG), 84_387, rel=5e-3)


@pytest.mark.parametrize(("f", "inches", "within"), [(218.46, 28.96, 0.01), (60.0, 27.71, 0.01), (215.0, 28.96, 0.05)])
def test_a_psi_holds_the_printed_column(f: float, inches: float, within: float) -> None:
    """Print says 28.96 in at 215 F; that is the density at 2 psig (218.46 F), at 215 F it is 28.92."""
    met("water", SOURCE, f"column at {f} F", water.column_in_per_psi(f), inches, within=within)


def test_a_season_s_steam_is_the_printed_one() -> None:
    made = water.steam_made_lb(1200 * 1e5, 80.0, AT_2_PSIG)
    met("water", SOURCE, "steam from 1200 therm", made, 99_378, rel=1e-3)
    met("water", SOURCE, "the same in gal", made / steam.water_lb_gal(60.0), 11_920, rel=1e-3)


def test_the_slow_drain_of_four_inches_at_an_inch_a_minute() -> None:
    """A drain of a constant flow is a fall with that flow as net loss: 4 in at 1 in/min are 4 minutes."""
    per_minute = water.weight_per_inch_lb(20.0, AT_2_PSIG)
    output = per_minute * 60 * steam.evaporation_btu_lb(AT_2_PSIG)
    met(
        "water",
        "VA procedure (S24)",
        "5 in to 1 in",
        water.level_fall(4, 20, output, AT_2_PSIG).minutes or 0.0,
        4.0,
        within=1e-6,
    )


def test_both_times_add_up_to_the_whole_fall() -> None:
    found = water.level_falls(4.0, 2.5, -1.0, 20.0, 1e6, AT_2_PSIG)
    whole = water.level_fall(5.0, 20.0, 1e6, AT_2_PSIG)
    assert (found.to_cutoff.minutes or 0) + (found.to_lowest.minutes or 0) == pytest.approx(whole.minutes)
    assert found.judgement.verdict == "good"


@pytest.mark.parametrize(
    ("heights", "codes", "verdict"),
    [
        ((4.0, 1.0, -1.0), [], "good"),
        ((4.0, 0.01, 0.0), [], "good"),
        ((4.0, 0.004, -1.0), ["cutoff_under_glass"], "hold"),
        ((4.0, 1.0, 0.004), [], "good"),
        ((4.0, 0.996, 1.0), ["lowest_line_in_glass"], "routine"),
        ((2.0, 1.996, -1.0), ["cutoff_at_normal_line"], "routine"),
        ((1.004, 2.0, 1.0), ["normal_at_lowest_line", "cutoff_at_normal_line", "lowest_line_in_glass"], "hold"),
        ((4.0, 0.0, -1.0), ["cutoff_under_glass"], "hold"),
        ((4.0, 1.0, 1.0), ["lowest_line_in_glass"], "routine"),
        ((4.0, 0.99, 1.0), ["cutoff_under_lowest_line", "lowest_line_in_glass"], "hold"),
        ((2.0, 1.99, -1.0), [], "good"),
        ((2.0, 2.0, -1.0), ["cutoff_at_normal_line"], "routine"),
        ((1.0, 2.0, 1.0), ["normal_at_lowest_line", "cutoff_at_normal_line", "lowest_line_in_glass"], "hold"),
    ],
)
def test_heights_in_a_dangerous_order_are_answered(heights: tuple[float, ...], codes: list[str], verdict: str) -> None:
    judgement = water.level_falls(*heights, 20.0, 1e6, AT_2_PSIG).judgement
    assert (judgement.verdict, [reason.code for reason in judgement.reasons]) == (verdict, codes)


def test_a_cutoff_under_the_lowest_line_has_no_time_left() -> None:
    assert water.level_falls(4.0, 0.5, 1.0, 20.0, 1e6, AT_2_PSIG).to_lowest.minutes == 0.0
    assert water.level_falls(1.0, 2.0, -1.0, 20.0, 1e6, AT_2_PSIG).to_cutoff.minutes == 0.0


def test_a_lowest_safe_line_in_the_glass_is_questioned() -> None:
    assert [water.is_lowest_line_doubtful(height) for height in (-1.0, 0.0, 0.01)] == [False, False, True]
    question = water.question_lowest_line(1.5)
    assert question.startswith("The lowest safe line is given 1.5 in over the bottom of the glass")
    assert question.endswith("at least 1 in over that line (HG-603, not verified yet): is it the maker's?")


OUTPUT, SURFACE, PSIA = st.floats(1e4, 1e7), st.floats(1, 100), st.floats(8, 40)


@given(OUTPUT, SURFACE, PSIA, st.floats(0.1, 10), st.floats(0, 0.99))
def test_the_time_has_the_dimensions_of_volume_times_density_over_flow(
    output: float, surface: float, psia: float, drop: float, returned: float
) -> None:
    mass = (
        make_quantity(surface, "foot**2")
        * make_quantity(drop, "inch")
        * make_quantity(steam.liquid_lb_ft3(psia), "pound/foot**3")
    )
    flow = (
        make_quantity(output, "Btu_it/hour")
        / make_quantity(steam.evaporation_btu_lb(psia), "Btu_it/pound")
        * (1 - returned)
    )
    expected = (mass / flow).to("minute").magnitude
    assert water.level_fall(drop, surface, output, psia, returned).minutes == pytest.approx(expected, rel=1e-9)


@given(OUTPUT, SURFACE, PSIA, st.floats(0.1, 10), st.floats(0.5, 5))
def test_twice_the_surface_and_twice_the_fire_take_the_same_time(
    output: float, surface: float, psia: float, drop: float, times: float
) -> None:
    scaled = water.level_fall(drop, surface * times, output * times, psia).minutes
    assert scaled == pytest.approx(water.level_fall(drop, surface, output, psia).minutes, rel=1e-9)


@given(OUTPUT, SURFACE, PSIA, st.floats(0, 0.9), st.floats(0.001, 0.09))
def test_more_return_never_shortens_the_time(
    output: float, surface: float, psia: float, returned: float, more: float
) -> None:
    longer, shorter = (
        water.level_fall(1, surface, output, psia, r).minutes or 0.0 for r in (returned + more, returned)
    )
    assert longer > shorter


@given(OUTPUT, PSIA, st.floats(33, 180))
def test_cold_feed_makes_less_steam(output: float, psia: float, feed_f: float) -> None:
    assert water.evaporation_cold_lb_h(output, psia, feed_f) < water.evaporation_lb_h(output, psia)


def test_feed_at_boiling_makes_as_much_as_condensate_at_boiling() -> None:
    boiling = steam.saturation_f(AT_2_PSIG)
    cold = water.evaporation_cold_lb_h(1e6, AT_2_PSIG, boiling - 1e-9)
    assert cold == pytest.approx(water.evaporation_lb_h(1e6, AT_2_PSIG), rel=1e-6)


def test_feed_over_boiling_is_refused() -> None:
    with pytest.raises(Refused, match="over boiling"):
        water.evaporation_cold_lb_h(1e6, AT_2_PSIG, 230.0)
