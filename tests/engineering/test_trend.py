"""The trend of the stack against scipy's slope and rank test."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.trend import chance_of_order, stack_trend
from fleet.errors import Refused
from tests.engineering.outside import SAID, LateLibrary, swept

stats = LateLibrary("scipy.stats")

DAYS = [0.0, 10.0, 25.0, 33.0, 47.0, 60.0, 71.0, 90.0]


def random_series(seed: int, count: int) -> tuple[list[float], list[float]]:
    rng = np.random.default_rng(seed)
    days = np.cumsum(rng.uniform(5, 20, count))
    return days.tolist(), (300 + 0.1 * days + rng.normal(0, 10, count)).tolist()


def test_slope_and_chance_are_those_of_scipy() -> None:
    ours, theirs = [], []
    for seed in range(40):
        days, differences = random_series(seed, 6 + seed % 20)
        found = stack_trend(days, differences)
        slope = stats.theilslopes(differences, days).slope * 30
        chance = stats.kendalltau(days, differences, method="exact", alternative="greater").pvalue
        ours += [found.slope_f_month, found.chance]
        theirs += [slope, chance]
    swept("combustion", "scipy, Theil-Sen and Kendall", "trend of the stack", ours, theirs, rel=1e-9, within=1e-12)


def test_a_stack_that_soots_up_is_rising() -> None:
    found = stack_trend(DAYS, [300, 306, 312, 315, 318, 330, 333, 345])
    assert (found.says, found.slope_f_month) == ("rising", pytest.approx(15, abs=2))


@pytest.mark.parametrize(
    "differences", [[300.0] * 8, [300, 310, 300, 310, 300, 310, 300, 310], [345, 333, 330, 318, 315, 312, 306, 300]]
)
def test_a_stack_that_does_not_rise_says_so(differences: list[float]) -> None:
    assert stack_trend(DAYS, differences).says == "no trend"


@pytest.mark.parametrize(
    ("days", "needs"),
    [
        ([], "6 more readings"),
        (DAYS[:5], "1 more readings"),
        ([0, 1, 2, 3, 4, 5, 6], "readings over 28 days, so far 6"),
    ],
)
def test_too_little_says_what_it_needs(days: list[float], needs: str) -> None:
    found = stack_trend(days, [300.0 + day for day in days])
    assert found.says == "not enough"
    assert found.slope_f_month is None
    assert found.needs == needs


def test_false_trends_are_as_rare_as_stated() -> None:
    rows = np.random.default_rng(1).exponential(50, (10_000, 8)) + 200
    found = float(np.mean([stack_trend(DAYS, row).says == "rising" for row in rows.tolist()]))
    SAID.append(f"stack trend: {found:.2%} false alarms in 10 000 simulated boilers, stated 1 % at most")
    assert 0 < found < 0.01 + 4 * (0.01 / 10_000) ** 0.5


@given(st.integers(2, 30))
def test_the_chances_of_all_orders_run_from_1_down_to_one_order(count: int) -> None:
    pairs = count * (count - 1) // 2
    chances = [float(chance_of_order(count, rising)) for rising in range(pairs + 1)]
    assert chances[0] == 1.0
    assert chances == sorted(chances, reverse=True)
    assert chances[-1] == pytest.approx(1 / float(np.prod(np.arange(1.0, count + 1))), rel=1e-9)


@given(st.integers(0, 1000), st.integers(6, 20), st.floats(0.1, 2.5), st.floats(0, 100))
def test_scale_and_level_of_the_readings_do_not_matter(seed: int, count: int, times: float, more: float) -> None:
    days, differences = random_series(seed, count)
    moved = stack_trend(days, [times * value + more for value in differences])
    plain = stack_trend(days, differences)
    assert moved.slope_f_month == pytest.approx(times * (plain.slope_f_month or 0), rel=1e-6, abs=1e-6)


@given(st.permutations(range(8)))
def test_the_order_in_which_readings_are_told_does_not_matter(order: list[int]) -> None:
    differences = [300.0, 306, 312, 311, 318, 330, 333, 345]
    assert stack_trend([DAYS[i] for i in order], [differences[i] for i in order]) == stack_trend(DAYS, differences)


@pytest.mark.parametrize(
    ("days", "differences", "code"),
    [
        ([0.0, 0.0], [300.0, 300.0], "day_twice"),
        ([0.0, 1.0], [300.0], "shapes"),
        ([0.0], [-5.0], "out_of_range"),
        ([0.0], [float("nan")], "not_a_number"),
        (list(range(201)), [300.0] * 201, "too_many"),
    ],
)
def test_readings_that_cannot_be_are_refused(days: list[float], differences: list[float], code: str) -> None:
    with pytest.raises(Refused) as refused:
        stack_trend(days, differences)
    assert refused.value.faults[0].code == code


def test_without_a_reading_nothing_has_been_spanned() -> None:
    found = stack_trend([], [])
    assert found.says == "not enough"
    assert found.span_days == 0.0
    assert found.readings == 0
    assert found.needs == "6 more readings"
