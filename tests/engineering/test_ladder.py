"""The pressure ladder against the check table of published values, section 3."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.ladder import (
    Ladder,
    cut_in,
    cut_out,
    faults_of_gauge,
    find_ladder_faults,
    judge_ladder,
    sense_from_readings,
)
from fleet.engineering.units import convert
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


ORDER = [  # cut-in, cut-out, limit, valve: what is said of rungs that are not in order
    ((2, 2, 7, 15), "The cut-in at 2 psi is not below the cut-out at 2 psi."),
    ((0.5, 8, 7, 15), "The high limit at 7 psi is not above the cut-out at 8 psi."),
    ((0.5, 1.5, 15, 15), "The high limit at 15 psi is not under the safety valve at 15 psi."),
]


@pytest.mark.parametrize(("rungs", "sentence"), ORDER)
def test_two_rungs_that_are_not_in_order_are_both_named(rungs: tuple[float, ...], sentence: str) -> None:
    assert [reason.sentence for reason in judge_ladder(Ladder(*rungs)).reasons][:1] == [sentence]


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


EDGES = [  # rungs at, just under and just over each bound of the ladder
    ((0.5, 1.5, 7, 15.01), ["ladder_over_fifteen"]),
    ((0.5, 1.5, 7, 15.0), []),
    ((0.5, 1.5, 7, 15.004), []),
    ((0.5, 1.5, 13.004, 15), []),
    ((0.5, 10.004, 12, 15), []),
    ((0.5, 6.996, 7, 15), ["ladder_limit_at_cut_out"]),
    ((-0.004, 1.5, 7, 15), []),
    ((0.5, 1.5, 14.99, 15), ["ladder_limit_gap"]),
    ((0.5, 1.5, 15, 15), ["ladder_limit_at_valve"]),
    ((0.5, 1.5, 13.01, 15), ["ladder_limit_gap"]),
    ((0.5, 1.5, 13.0, 15), []),
    ((0.5, 1.5, 8.3, 10.3), []),  # 10.3 - 8.3 is over 2 in binary, 12.3 - 10.3 is under
    ((0.5, 1.5, 10.3, 12.3), []),
    ((0.5, 10.0, 12, 15), []),
    ((0.5, 10.01, 12, 15), ["ladder_operating_gap"]),
    ((0.5, 6.99, 7, 15), []),
    ((0.5, 7.0, 7, 15), ["ladder_limit_at_cut_out"]),
    ((1.49, 1.5, 7, 15), []),
    ((1.5, 1.5, 7, 15), ["ladder_cut_in"]),
    ((0.0, 1.5, 7, 15), []),
    ((-0.01, 1.5, 7, 15), ["ladder_cut_in_below_zero"]),
]


@pytest.mark.parametrize(("rungs", "codes"), EDGES)
def test_each_bound_of_the_ladder_lies_where_it_is_said(rungs: tuple[float, ...], codes: list[str]) -> None:
    assert [reason.code for reason in judge_ladder(Ladder(*rungs)).reasons] == codes


@pytest.mark.parametrize(("rungs", "codes"), EDGES)
def test_the_same_ladder_in_kilopascal_has_the_same_faults(rungs: tuple[float, ...], codes: list[str]) -> None:
    again = [convert(convert(float(psi), "psi", "kPa"), "kPa", "psi") for psi in rungs]
    assert [reason.code for reason in judge_ladder(Ladder(*again)).reasons] == codes


@pytest.mark.parametrize(
    ("top", "most", "right"),
    [
        (29.99, 60, False),
        (29.996, 60, True),
        (60.004, 60, True),
        (30, 60, True),
        (60, 60, True),
        (60.01, 60, False),
        (100, 100, True),
        (100.01, 100, False),
    ],
)
def test_a_gauge_reads_from_thirty_to_the_most_that_was_adopted(top: float, most: float, right: bool) -> None:
    assert ([fault.sentence for fault in faults_of_gauge(top, most)] == []) == right


def test_the_sentence_of_a_gauge_names_its_range_and_what_is_right() -> None:
    assert faults_of_gauge(15.0)[0].sentence == "The gauge reads to 15 psi: 30 to 60 is right."


RUNG = st.floats(0, 20)


@given(RUNG, RUNG, RUNG, RUNG)
def test_good_is_only_what_is_in_order_with_its_gaps(cut_in: float, cut_out: float, limit: float, valve: float) -> None:
    rungs = (cut_in, cut_out, limit, valve)
    cut_in, cut_out, limit, valve = (round(psi, 2) for psi in rungs)
    gaps = round(valve - limit, 2) >= 2 and round(valve - cut_out, 2) >= 5
    in_order = cut_in < cut_out < limit and gaps and valve <= 15
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


def test_a_cut_in_under_zero_asks_for_the_kind_of_the_differential() -> None:
    reasons = judge_ladder(Ladder(-1.0, 1.0, 7.0, 15.0)).sentences
    assert reasons == ("The cut-in at -1 psi is under zero: is the differential of the other kind?",)
