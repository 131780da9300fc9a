"""Comparisons in the last place of a unit: no verdict hangs on binary rounding, nor on the unit a value came in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.last_places import (
    STEPS_PER_UNIT,
    compare,
    compare_distance,
    compare_gap,
    last_places,
)
from fleet.engineering.units import UNITS, convert, si_unit


@pytest.mark.parametrize(
    ("value", "unit", "steps"),
    [
        (8.2, "psi", 820),
        (1.005, "psi", 101),
        (-1.005, "psi", -101),
        (-0.5, "in", -50),
        (0.02, "in w.c.", 20),
        (35.04, "ppm", 350),
        (17.995, "%", 1800),
        (700.04, "F", 7000),
        (299.96, "F diff", 3000),
        (3.004, "s", 300),
        (2.995, "min", 300),
        (999.9994, "lb/h", 999_999),
        (318.754, "in2", 31875),
        (4000.004, "ft3", 400000),
        (400_000.4, "Btu/h", 400000),
        (1.004, "gal", 100),
        (0.0000014, "", 1),
        (3.0, "of no kind", 3_000_000),
    ],
)
def test_a_value_is_a_whole_number_of_the_last_places_of_its_unit(value: float, unit: str, steps: int) -> None:
    assert last_places(value, unit) == steps


def test_what_is_no_number_lies_beyond_every_bound() -> None:
    assert [compare(value, 15.0, "psi") for value in (float("nan"), float("inf"), float("-inf"))] == [1, 1, -1]


TENTHS = [tenth / 10 for tenth in range(-50, 400)]


@pytest.mark.parametrize("apart", [0.5, 1.0, 2.0, 5.0])
def test_two_readings_of_a_tenth_lie_exactly_so_far_apart_all_over_the_scale(apart: float) -> None:
    others = [(value, round(value + apart, 1)) for value in TENTHS]
    assert {compare_distance(value, other, apart, "psi") for value, other in others} == {0}
    assert {compare_gap(value, other, apart, "psi") for value, other in others} == {0}
    assert {compare_gap(other, value, apart, "psi") for value, other in others} == {-1}
    assert {compare_distance(value, round(value + apart + 0.1, 1), apart, "psi") for value in TENTHS} == {1}
    assert {compare_distance(value, round(value + apart - 0.1, 1), apart, "psi") for value in TENTHS} == {-1}


SHOWN_IN_SI = sorted(unit for unit in STEPS_PER_UNIT if unit in UNITS and si_unit(unit) != unit)


@given(st.integers(-4000, 4000), st.sampled_from(SHOWN_IN_SI))
def test_a_bound_that_was_typed_in_si_units_is_still_that_bound(steps: int, unit: str) -> None:
    bound = steps / STEPS_PER_UNIT[unit]
    typed = convert(convert(bound, unit, si_unit(unit)), si_unit(unit), unit)
    assert compare(typed, bound, unit) == 0


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_the_order_of_two_values_is_one_of_three(value: float, bound: float) -> None:
    assert compare(value, bound, "psi") == -compare(bound, value, "psi")
    assert compare(value, value + 0.02, "psi") == -1
