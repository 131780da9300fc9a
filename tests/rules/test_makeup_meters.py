"""What a make-up meter shows: its roll-over, a change of meter, a reading out of order, and how the past is kept."""

import pytest

from tests.rules.build import swap
from tests.rules.plant import Plant, fit, proof
from tests.rules.test_findings_history import reads


def meter(*readings: tuple[float, float], rolls_over: float | None = None) -> Plant:
    """A plant whose meter was read on these days; it starts again from 0 after `rolls_over` gallons."""
    boiler = Plant().service()
    if rolls_over is not None:
        boiler.sets(0.5, "meter", "rolls_over_gal", rolls_over)
    for day, gallons in readings:
        boiler.visit(day, proof("meter", "meter_reading", reading=gallons))
    return boiler


STEADY = [(1.0, 9_700.0), (11.0, 9_800.0), (21.0, 9_900.0), (31.0, 9_999.0)]


@pytest.mark.parametrize(
    ("after", "rolls_over", "rules"),
    [(150.0, 10_000.0, []), (350.0, 10_000.0, ["makeup_rising"]), (350.0, None, [])],
)
def test_a_meter_that_starts_again_is_read_on_where_its_size_is_on_record(
    after: float, rolls_over: float | None, rules: list[str]
) -> None:
    assert meter(*STEADY, (41.0, after), rolls_over=rolls_over).open("meter") == rules


def test_a_new_meter_does_not_go_on_from_the_old_ones_reading() -> None:
    boiler = reads(0, 100, 200, 300)
    boiler.visit(35, fit("meter")).visit(41, proof("meter", "meter_reading", reading=5_000.0))
    assert boiler.open("meter") == []
    boiler.visit(51, proof("meter", "meter_reading", reading=5_250.0))
    assert boiler.open("meter") == ["makeup_rising"]


def test_two_readings_at_one_instant_end_no_period() -> None:
    boiler = reads(0, 100, 200, 300).visit(31, proof("meter", "meter_reading", reading=900.0))
    assert boiler.visit(41, proof("meter", "meter_reading", reading=1_000.0)).open("meter") == []


@pytest.mark.parametrize(("gallons", "rules"), [(400.0, []), (501.0, ["makeup_rising"])])
def test_the_fourth_period_is_the_first_with_a_past_to_compare_with(gallons: float, rules: list[str]) -> None:
    assert reads(0, 100, 200, 300, gallons).open("meter") == rules
    assert reads(0, 100, 200, gallons).open("meter") == []


def test_another_place_is_not_the_meter() -> None:
    boiler = reads(0, 100, 200, 300).visit(41, swap("valve", set_psi=15.0))
    assert boiler.open("meter") == []


@pytest.mark.parametrize(("second", "rules"), [(39.9, ["makeup_rising"]), (30.1, ["makeup_rising"])])
def test_a_second_high_period_no_higher_than_the_first_is_no_further_rise(second: float, rules: list[str]) -> None:
    assert reads(0, 100, 200, 300, 700, 700 + 10 * second).open("meter") == rules


def test_a_third_rise_is_told_beside_the_second() -> None:
    boiler = reads(0, 100, 200, 300, 600, 1_000, 1_500)
    assert boiler.open("meter") == ["makeup_rising", "makeup_rising_again"]
