"""Ratings against the check table of published values, section 1.3."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import ratings, steam
from fleet.errors import Refused
from tests.engineering.outside import make_quantity, met

SOURCE = "published values 1.3"
TABLE = [  # gross Btu/h, bhp, lb/h from and at 212, EDR gross, net Btu/h, EDR net
    (33_475, 1.000, 34.505, 139.48, 25_113, 104.6),
    (400_000, 11.949, 412.3, 1666.7, 300_075, 1250.3),
    (1_000_000, 29.873, 1030.8, 4166.7, 750_188, 3125.8),
    (3_347_500, 100.00, 3450.5, 13_947.9, 2_511_253, 10_463.6),
]


@pytest.mark.parametrize(("gross", "bhp", "lb_h", "edr", "net", "net_edr"), TABLE)
def test_each_row_of_the_check_table_is_met(
    gross: float, bhp: float, lb_h: float, edr: float, net: float, net_edr: float
) -> None:
    gross = float(gross)
    met("ratings", SOURCE, f"bhp of {gross:g}", ratings.boiler_horsepower(gross), bhp, rel=1e-3)
    met("ratings", SOURCE, f"from and at 212 of {gross:g}", ratings.from_and_at_lb_h(gross), lb_h, rel=1e-3)
    met("ratings", SOURCE, f"EDR of {gross:g}", ratings.edr_ft2(gross), edr, rel=1e-3)
    met("ratings", SOURCE, f"net of {gross:g}", ratings.net_btu_h(gross), net, rel=1e-3)
    met("ratings", SOURCE, f"net EDR of {gross:g}", ratings.edr_ft2(ratings.net_btu_h(gross)), net_edr, rel=1e-3)


def test_the_definitions_are_the_printed_ones() -> None:
    heat = 34.5 * steam.evaporation_btu_lb(14.696)
    met("ratings", "S48 and 34.5 lb/h", "horsepower as evaporation", ratings.boiler_horsepower(heat), 1.0, rel=1e-3)
    met("ratings", "S48 prints 33 472", "horsepower", 33_472 / ratings.boiler_horsepower(33_472.0), 33_472, rel=1e-3)
    met("ratings", "pump practice", "condensing a square foot", ratings.condensing_lb_h(1.0), 0.25, rel=1e-12)
    met("ratings", "published values 8", "gpm for 1000 ft2", ratings.feed_rate_gpm(1000.0), 0.4998, within=5e-4)
    met(
        "ratings",
        "published values 8",
        "gpm for 1000 ft2 at 2 psig",
        ratings.feed_rate_gpm(1000.0),
        0.4967,
        within=4e-3,
    )
    met("ratings", "manual, water", "net water", ratings.net_btu_h(1e6, ratings.HOT_WATER_ALLOWANCE), 869_565, rel=1e-5)


def test_net_is_over_1_333_and_not_1_33() -> None:
    assert ratings.net_btu_h(1e6) == pytest.approx(750_188, abs=1)
    assert ratings.net_btu_h(1e6, 1.33) == pytest.approx(751_880, abs=1)


def test_a_boiler_with_a_third_over_its_radiation_has_the_usual_pick_up() -> None:
    assert ratings.pick_up_percent(400_000.0, 1250.3) == pytest.approx(33.3, abs=0.01)


def test_too_much_radiation_is_under_zero() -> None:
    assert ratings.pick_up_percent(240_000.0, 1250.0) == pytest.approx(-20)


@given(st.floats(1e3, 1e8))
def test_net_and_gross_turn_into_each_other(gross: float) -> None:
    assert ratings.gross_btu_h(ratings.net_btu_h(gross)) == pytest.approx(gross, rel=1e-12)


@given(st.floats(1e3, 1e8))
def test_boiler_horsepower_is_pint_s(gross: float) -> None:
    theirs = make_quantity(gross, "Btu_it/hour").to("boiler_horsepower").magnitude
    assert ratings.boiler_horsepower(gross) == pytest.approx(theirs, rel=1e-6)


@given(st.floats(1e3, 1e8), st.floats(10, 1e5), st.floats(1.01, 3))
def test_pick_up_falls_with_radiation_and_knows_no_scale(gross: float, edr: float, times: float) -> None:
    assert ratings.pick_up_percent(gross, edr * times) < ratings.pick_up_percent(gross, edr)
    scaled = ratings.pick_up_percent(gross * times, edr * times)
    assert scaled == pytest.approx(ratings.pick_up_percent(gross, edr), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    ("gross", "edr", "at"),
    [(0.0, 100.0, "gross_btu_h"), (1e6, 0.0, "connected_edr_ft2"), (1e6, float("nan"), "connected_edr_ft2")],
)
def test_no_output_or_no_radiation_is_refused(gross: float, edr: float, at: str) -> None:
    with pytest.raises(Refused) as refused:
        ratings.pick_up_percent(gross, edr)
    assert refused.value.faults[0].at == (at,)
