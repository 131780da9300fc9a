"""Make-up from readings, and the alarm on a change, whose false alarms are counted by simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import makeup, water
from fleet.engineering.makeup import MeterReading, judge_change, water_uses
from fleet.errors import Refused
from tests.engineering.outside import SAID, met

PAST = [4.1, 3.7, 4.4, 3.9, 4.0, 4.6, 3.6, 4.2, 3.8, 4.3, 4.0, 3.9]


def gallons(readings: list[MeterReading], rolls_at: float | None = None, unit: str = "gal") -> list[float | None]:
    return [use.gallons for use in water_uses(readings, rolls_at, unit)]


def test_the_printed_share_of_make_up_is_met() -> None:
    made = water.steam_made_lb(1200 * 1e5, 80.0, 16.696)
    met(
        "makeup",
        "published values 8",
        "300 gal in a season",
        makeup.share_of_steam_percent(300.0, made),
        2.5,
        within=0.02,
    )


def test_a_cubic_foot_counts_as_its_gallons() -> None:
    ours = gallons([MeterReading(0, 0), MeterReading(7, 10)], unit="ft3")[0]
    met("makeup", "published values 8", "10 ft3", ours or 0.0, 74.805, rel=1e-5)


def test_days_are_as_irregular_as_they_were() -> None:
    found = water_uses([MeterReading(0, 100), MeterReading(7, 128), MeterReading(10, 140), MeterReading(31, 224)])
    assert [use.gallons_per_day for use in found] == [4.0, 4.0, 4.0]


@pytest.mark.parametrize(
    ("last", "rolls_at", "used", "note"),
    [
        (99_990, 100_000.0, 40, "rolled over"),
        (99_990, None, None, "went back: replaced or misread"),
        (5_000, 100_000.0, None, "went back: replaced or misread"),  # 95 030 is over half a turn
    ],
)
def test_going_back_is_never_a_negative_use(last: float, rolls_at: float | None, used: float | None, note: str) -> None:
    found = water_uses([MeterReading(0, last), MeterReading(7, 30)], rolls_at)[0]
    assert (found.gallons, found.note) == (used, note)


def test_over_another_meter_nothing_is_known() -> None:
    found = water_uses([MeterReading(0, 100, "old"), MeterReading(7, 900, "new"), MeterReading(14, 928, "new")])
    assert [(use.gallons, use.gallons_per_day) for use in found] == [(None, None), (28, 4)]


@given(st.lists(st.floats(0, 400), min_size=2, max_size=20), st.floats(0, 999))
def test_a_register_that_rolls_over_loses_nothing(steps: list[float], start: float) -> None:
    totals = [start + sum(steps[:count]) for count in range(len(steps) + 1)]
    readings = [MeterReading(float(day), total % 1000) for day, total in enumerate(totals)]
    assert sum(use or 0.0 for use in gallons(readings, 1000.0)) == pytest.approx(sum(steps), abs=1e-6)


@given(st.lists(st.tuples(st.floats(0.1, 30), st.floats(0, 100)), min_size=1, max_size=20))
def test_reading_more_often_changes_no_total(steps: list[tuple[float, float]]) -> None:
    days, totals = np.cumsum([0.0, *(day for day, _ in steps)]), np.cumsum([0.0, *(used for _, used in steps)])
    every = [MeterReading(float(d), float(t)) for d, t in zip(days, totals, strict=True)]
    assert sum(use or 0.0 for use in gallons(every)) == pytest.approx(gallons([every[0], every[-1]])[0], abs=1e-6)


def test_degree_days_count_what_lies_under_the_base() -> None:
    assert makeup.heating_degree_days([65.0, 40.0, 70.0, 30.0]) == 60.0
    assert makeup.use_per_degree_day(30.0, 60.0) == 0.5
    assert makeup.use_per_day(30.0, 7.5) == 4.0


@pytest.mark.parametrize(("newest", "says"), [(4.0, "usual"), (5.5, "usual"), (12.0, "jump"), (0.0, "usual")])
def test_a_reading_far_over_the_own_past_is_a_jump(newest: float, says: str) -> None:
    assert judge_change([*PAST, newest]).says == says


def test_one_earlier_leak_does_not_hide_the_next() -> None:
    leaked = [*PAST[:5], 40.0, *PAST[6:]]
    assert judge_change([*leaked, 12.0]).says == "jump"


def test_three_above_all_before_are_growing() -> None:
    found = judge_change([*PAST, 6.0, 6.2, 6.5])
    assert (found.says, found.false_alarm) == ("growing", pytest.approx(0.005 + 1 / 455))


def test_three_hardly_above_all_before_are_nobody_s_errand() -> None:
    assert judge_change([*PAST, 4.7, 4.7, 4.7]).says == "usual"


@pytest.mark.parametrize(("periods", "luck"), [(7, 0.0), (8, 1 / 165), (9, 1 / 220), (12, 1 / 455), (13, 1 / 455)])
def test_growth_is_asked_of_eight_periods_before_the_newest_three_and_of_twelve_at_most(
    periods: int, luck: float
) -> None:
    found = judge_change([*([4.0] * periods), 7.0, 7.0, 7.0])
    assert found.false_alarm == pytest.approx(0.005 + luck)


def test_a_rate_that_cannot_be_is_refused_at_its_place_among_the_rates() -> None:
    with pytest.raises(Refused) as refused:
        judge_change([*PAST, -1.0])
    assert [fault.at for fault in refused.value.faults] == [("rates", len(PAST))]


def test_a_tight_system_s_first_gallon_is_no_alarm() -> None:
    assert judge_change([0.0] * 12 + [0.14], least=0.14).says == "usual"
    assert judge_change([0.0] * 12 + [3.0], least=0.14).says == "jump"


def test_a_short_past_says_what_it_needs() -> None:
    assert judge_change(PAST[:8]) == makeup.MakeupChange("not enough", None, None, 0.0, "1 more periods")


def alarms(noise: np.ndarray, wanted: str) -> float:
    """Return the share of rows in which the newest of log rates is called `wanted`, scattered by half."""
    rows = np.exp(0.5 * noise)
    return float(np.mean([judge_change(row, least=1e-9).says == wanted for row in rows.tolist()]))


@pytest.mark.parametrize("count", [8, 12])
def test_jumps_by_luck_are_as_rare_as_stated(count: int) -> None:
    """10 000 boilers where nothing changed: at most 0.5 % and four standard errors of the simulation."""
    found = alarms(np.random.default_rng(count).standard_normal((10_000, count + 1)), "jump")
    SAID.append(
        f"make-up: {found:.2%} false jumps in 10 000 simulated boilers with {count} past periods, stated 0.50 %"
    )
    assert 0.002 < found < 0.005 + 4 * (0.005 * 0.995 / 10_000) ** 0.5


@pytest.mark.parametrize(("shape", "stated"), [("heavy tails both ways", 0.0115), ("a tail to the high side", 0.053)])
def test_jumps_by_luck_with_tails_are_as_rare_as_stated(shape: str, stated: float) -> None:
    rng = np.random.default_rng(5)
    noise = rng.standard_t(5, (6_000, 13)) if shape.startswith("heavy") else rng.exponential(size=(6_000, 13))
    found = alarms(noise, "jump")
    SAID.append(f"make-up: {found:.2%} false jumps in 6 000 boilers whose log rates have {shape}, stated {stated:.1%}")
    assert 0.5 * stated < found < stated + 4 * (stated / 6_000) ** 0.5


def test_growth_by_luck_is_as_rare_as_stated_for_any_scatter() -> None:
    """Skewed noise on purpose: the rank rule knows no shape; jumps are counted apart."""
    rates = np.random.default_rng(3).exponential(size=(40_000, 15))
    grown = float(np.mean(rates[:, 12:].min(axis=1) > rates[:, :12].max(axis=1)))
    ours = np.mean([makeup._has_grown(row)[0] for row in rates.tolist()])
    SAID.append(f"make-up: {ours:.2%} false growth in 40 000 simulated boilers, stated 1 in 455 = {1 / 455:.2%}")
    assert ours == grown
    assert abs(ours - 1 / 455) < 4 * (1 / 455 / 40_000) ** 0.5


@pytest.mark.parametrize(("times", "least"), [(2.0, 0.5), (3.0, 0.9)])
def test_a_real_leak_is_seen_soon(times: float, least: float) -> None:
    """Usual scatter of a fifth: three periods after a leak that multiplies the use, most boilers have alarmed."""
    noise = np.random.default_rng(9).standard_normal((2_000, 15)) * 0.2
    rates = np.exp(noise)
    rates[:, 12:] *= times
    seen = [any(judge_change(row[:end]).says in ("jump", "growing") for end in (13, 14, 15)) for row in rates.tolist()]
    SAID.append(f"make-up: {np.mean(seen):.0%} of leaks that multiply use by {times:g} seen within three periods")
    assert np.mean(seen) > least


@given(st.lists(st.floats(0.01, 1000), min_size=9, max_size=16), st.floats(0.01, 100))
def test_the_unit_of_the_rates_does_not_matter(rates: list[float], times: float) -> None:
    one, other = judge_change(rates, 1e-6), judge_change([rate * times for rate in rates], 1e-6 * times)
    assert other.times == pytest.approx(one.times, rel=1e-6)


@given(st.lists(st.floats(0.01, 1000), min_size=9, max_size=16), st.floats(1, 10))
def test_a_greater_newest_rate_never_takes_an_alarm_back(rates: list[float], times: float) -> None:
    if judge_change(rates).says in ("jump", "growing"):
        assert judge_change([*rates[:-1], rates[-1] * times]).says in ("jump", "growing")


@pytest.mark.parametrize(
    ("readings", "rolls_at", "code", "at"),
    [
        ([MeterReading(0, 5), MeterReading(0, 6)], None, "not_in_order", ("days", 1)),
        ([MeterReading(3, 5), MeterReading(1, 6)], None, "not_in_order", ("days", 1)),
        ([MeterReading(0, -1), MeterReading(1, 6)], None, "out_of_range", ("values", 0)),
        ([MeterReading(0, float("nan")), MeterReading(1, 6)], None, "not_a_number", ("values", 0)),
        ([MeterReading(0, 5), MeterReading(1, 1000)], 1000.0, "over_the_register", ("values", 1)),
    ],
)
def test_readings_that_cannot_be_are_refused(
    readings: list[MeterReading], rolls_at: float | None, code: str, at: tuple[str, int]
) -> None:
    with pytest.raises(Refused) as refused:
        water_uses(readings, rolls_at)
    assert [(fault.code, fault.at) for fault in refused.value.faults] == [(code, at)]


@pytest.mark.parametrize(
    ("late", "gallons", "note"), [(40.0, 50.0, "rolled over"), (41.0, None, "went back: replaced or misread")]
)
def test_half_a_turn_of_the_register_is_still_a_roll_over(late: float, gallons: float | None, note: str) -> None:
    use = makeup.water_uses([MeterReading(0.0, 90.0), MeterReading(7.0, late)], rolls_at=100.0)[0]
    assert (use.gallons, use.note) == (gallons, note)


@pytest.mark.parametrize(("newest", "says"), [(6.0, "jump"), (5.99, "usual")])
def test_half_as_much_again_as_usual_is_the_least_that_is_told(newest: float, says: str) -> None:
    assert judge_change([4.0] * 12 + [newest]).says == says
