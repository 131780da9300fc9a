"""The pressure ladder against the check table of published values, section 3."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.ladder import (
    Ladder,
    cut_in,
    cut_out,
    find_ladder_faults,
    grade_control_trip,
    grade_limit_trip,
    judge_ladder,
    sense_from_readings,
)
from fleet.engineering.verdicts import LEVELS
from fleet.errors import Refused
from tests.engineering.outside import met, said

TABLE = [
    ((0.5, 1.5, 7, 15), []),
    ((2, 5, 5, 15), [("ladder_limit_at_cut_out", "urgent")]),
    ((2, 5, 15, 15), [("ladder_limit_at_valve", "hold")]),  # printed "fail or warn": hold, the safer
    ((2, 5, 16, 15), [("ladder_over_fifteen", "hold"), ("ladder_limit_at_valve", "hold")]),
    ((2, 12, 13, 15), [("ladder_operating_gap", "routine")]),
    ((2, 5, 13.5, 15), [("ladder_limit_gap", "urgent")]),
    ((2, 5, 13, 15), []),
    ((2, 10, 12, 15), []),
    ((5, 5, 12, 15), [("ladder_cut_in", "urgent")]),
    ((2, 5, 12, 16), [("ladder_over_fifteen", "hold")]),
    ((None, None, None, None), []),
    ((None, None, 14, None), []),
]


@pytest.mark.parametrize(("rungs", "expected"), TABLE)
def test_each_ladder_of_the_table_gets_its_class(
    rungs: tuple[float | None, ...], expected: list[tuple[str, str]]
) -> None:
    assert [(f.code, f.level) for f in find_ladder_faults(Ladder(*rungs))] == expected


def test_an_additive_control_opens_at_its_scale_plus_the_differential() -> None:
    assert (cut_in(0.5, 1.0, "additive"), cut_out(0.5, 1.0, "additive")) == (0.5, 1.5)


def test_a_subtractive_control_closes_at_its_scale_minus_the_differential() -> None:
    assert (cut_in(2.0, 1.5, "subtractive"), cut_out(2.0, 1.5, "subtractive")) == (0.5, 2.0)


def test_an_unknown_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="additive or subtractive"):
        cut_out(1.0, 1.0, "sideways")


VERDICTS = [  # cut-in, cut-out, limit, valve, gauge: verdict, first code (published values, section 3)
    ((0.5, 1.5, 7, 15, 30), "good", None),
    ((2, 5, 5, 15, 30), "urgent", "ladder_limit_at_cut_out"),
    ((2, 5, 15, 15, 30), "hold", "ladder_limit_at_valve"),
    ((2, 5, 16, 15, 30), "hold", "ladder_over_fifteen"),
    ((2, 12, 13, 15, 30), "routine", "ladder_operating_gap"),
    ((0.5, 1.5, 7, 15, 15), "routine", "gauge_range"),
    ((0.5, 1.5, 7, 15, 60), "good", None),
    ((0.5, 1.5, 7, 15, 100), "routine", "gauge_range"),
    ((-1, 1, 7, 15, 30), "routine", "ladder_cut_in_below_zero"),
    ((150, 200, 250, 300, 30), "hold", "ladder_over_fifteen"),
]


@pytest.mark.parametrize(("rungs", "verdict", "code"), VERDICTS)
def test_a_dangerous_ladder_is_answered_never_refused(rungs: tuple[float, ...], verdict: str, code: str | None) -> None:
    found = judge_ladder(Ladder(*rungs[:4]), rungs[4])
    first = found.reasons[0].code if found.reasons else None
    said("ladder", "published values 3", f"ladder {rungs}", (found.verdict, first), (verdict, code))


def test_unknown_rungs_are_named_and_keep_the_verdict_from_being_good() -> None:
    found = judge_ladder(Ladder(limit_psi=7, valve_psi=15))
    assert (found.verdict, found.unknown) == ("unknown", ("cut_in_psi", "cut_out_psi"))


def test_an_unknown_rung_hides_no_danger() -> None:
    assert judge_ladder(Ladder(limit_psi=15, valve_psi=15)).verdict == "hold"


def test_the_printed_controls_come_out_of_their_scales() -> None:
    source = "published values 3"
    met("ladder", source, "additive 0.5 + 1.0", cut_out(0.5, 1.0, "additive"), 1.5, within=1e-12)
    met("ladder", source, "subtractive 2.0 - 1.5", cut_in(2.0, 1.5, "subtractive"), 0.5, within=1e-12)
    met("ladder", source, "step-fired: off at 6", cut_out(4.0, 2.0, "additive"), 6.0, within=1e-12)
    met("ladder", source, "typical one-pipe", cut_out(0.5, 1.0, "additive"), 1.5, within=1e-12)


@pytest.mark.parametrize(
    ("seen", "sense"),
    [((0.5, 1.5), "additive"), ((-0.5, 0.5), "subtractive"), ((3, 5), "neither"), ((0.4, 1.7), "additive")],
)
def test_what_was_seen_tells_which_kind_a_control_is(seen: tuple[float, float], sense: str) -> None:
    assert sense_from_readings(0.5, 1.0, *seen) == sense


def test_without_a_differential_both_kinds_are_one() -> None:
    assert sense_from_readings(2.0, 0.0, 2.0, 2.0) == "either"


@given(st.floats(0, 10), st.floats(0.6, 5), st.sampled_from(["additive", "subtractive"]))
def test_a_control_as_entered_is_recognised(main: float, differential: float, sense: str) -> None:
    assert (
        sense_from_readings(main, differential, cut_in(main, differential, sense), cut_out(main, differential, sense))
        == sense
    )


@pytest.mark.parametrize(
    ("trip", "grade"),
    [(1.5, "good"), (2.0, "good"), (1.0, "good"), (2.1, "drifted"), (5.9, "drifted"), (6.1, "failed")],
)
def test_an_operating_control_is_graded_by_its_set_point_and_the_limit(trip: float, grade: str) -> None:
    assert grade_control_trip(trip, 1.5, 1.0, 7.0) == grade


def test_a_wide_differential_widens_what_is_good() -> None:
    assert [grade_control_trip(5.9, 5.0, d, None) for d in (2.0, 5.0)] == ["drifted", "good"]
    assert grade_control_trip(6.1, 5.0, 5.0, None) == "drifted"


@pytest.mark.parametrize(
    ("trip", "grade"), [(7, "good"), (8, "good"), (8.5, "drifted"), (13, "drifted"), (13.1, "failed"), (16, "failed")]
)
def test_a_limit_is_graded_by_its_set_point_and_the_valve(trip: float, grade: str) -> None:
    assert grade_limit_trip(trip, 7.0, 15.0) == grade


def test_a_limit_over_fifteen_fails_whatever_the_valve() -> None:
    assert [grade_limit_trip(15.5, 15.5, valve) for valve in (None, 30.0)] == ["failed", "failed"]


RUNG = st.floats(0, 20)


@given(RUNG, RUNG, RUNG, RUNG)
def test_good_is_only_what_is_in_order_with_its_gaps(cut_in: float, cut_out: float, limit: float, valve: float) -> None:
    in_order = cut_in < cut_out < limit and limit <= valve - 2 and cut_out <= valve - 5 and valve <= 15
    assert (judge_ladder(Ladder(cut_in, cut_out, limit, valve)).verdict == "good") == in_order


@given(RUNG, RUNG, RUNG, RUNG, st.floats(0.1, 5))
def test_lowering_the_cut_in_never_makes_a_ladder_worse(
    cut_in: float, cut_out: float, limit: float, valve: float, less: float
) -> None:
    lower = judge_ladder(Ladder(max(0.0, cut_in - less), cut_out, limit, valve)).verdict
    assert LEVELS.index(lower) >= LEVELS.index(judge_ladder(Ladder(cut_in, cut_out, limit, valve)).verdict)


@pytest.mark.parametrize("psi", [float("nan"), float("inf"), -15.0, 301.0])
def test_a_set_point_that_cannot_be_is_refused_with_its_place(psi: float) -> None:
    with pytest.raises(Refused) as refused:
        judge_ladder(Ladder(limit_psi=psi))
    assert refused.value.faults[0].at == ("limit_psi",)


@pytest.mark.parametrize("differential", [-0.1, float("nan")])
def test_a_differential_that_cannot_be_is_refused(differential: float) -> None:
    with pytest.raises(Refused, match="differential_psi"):
        cut_out(1.0, differential, "additive")
