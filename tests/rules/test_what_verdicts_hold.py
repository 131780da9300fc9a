"""What stands beside a verdict's sentence: its grade, what it proves, the value it was held against, its question."""

import pytest

from fleet.rules.values import EntryVerdict, Value
from tests.rules.plant import Plant, proof
from tests.rules.test_said_of_verdicts import SAID
from tests.rules.test_verdicts_table import JUDGED, TABLED, bad_reading, procedure_of, worth

WHICH_IS_RIGHT = "Claimed as passed, but the readings fail it. Only a correction changes this: which is right?"
GRADES = {"pass": {"good", "drifted"}, "fail": {"failed"}, "inconclusive": {""}, "not_a_test": {""}, "noted": {""}}


def judged(ref: str, code: str = "", outcome: str = "pass", **readings: Value) -> EntryVerdict:
    return Plant().service().visit(1, proof(ref, code, outcome, **readings)).verdict()


@pytest.mark.parametrize(("ref", "code", "readings", "outcome"), [row[:4] for row in SAID])
def test_a_verdict_has_the_grade_of_its_outcome_and_asks_only_where_the_claim_was_better(
    ref: str, code: str, readings: dict[str, Value], outcome: str
) -> None:
    verdict = judged(ref, code, **readings)
    assert verdict.grade in GRADES[outcome]
    assert ("adjust" in verdict.sentence) is (verdict.grade == "drifted")
    assert bool(verdict.proves) is (outcome == "pass")
    assert verdict.question == (WHICH_IS_RIGHT if outcome == "fail" else "")


# where, which test, what was read otherwise than in a good one; what it proves, and what it was held against
HELD: list[tuple[str, str, dict[str, Value], str, float | None]] = [
    ("limit", "", {}, "full", 8.0),
    ("limit", "", {"trip_psi": None}, "", 8.0),
    ("limit", "", {"trip_psi": 13.5}, "", 8.0),
    ("limit", "", {"restarted_by_hand": False}, "", 8.0),
    ("limit", "", {"stayed_off_minutes": 2.9}, "", 8.0),
    ("limit", "", {"trip_psi": 5.0, "set_psi_during_test": 5.0}, "full", 5.0),
    ("limit", "", {"trip_psi": 7.0, "set_psi_during_test": 5.0}, "full", 5.0),
    ("limit", "", {"trip_psi": 7.1, "set_psi_during_test": 5.0}, "", 5.0),
    ("limit", "limit_calibration", {}, "due_only", 8.0),
    ("limit", "limit_calibration", {"trip_psi": None}, "", 8.0),
    ("limit", "limit_calibration", {"trip_psi": 13.5}, "", 8.0),
    ("control", "", {}, "full", 2.0),
    ("control", "", {"trip_psi": 7.1}, "", 2.0),
    ("control", "", {"trip_psi": None}, "", None),
    ("valve", "", {}, "full", None),
    ("siphon_a", "", {}, "full", None),
    ("upper", "", {}, "full", 2.5),
    ("upper", "flush", {}, "partial", None),
    ("lower", "", {}, "full", 1.5),
    ("chamber", "", {}, "full", None),
    ("burner", "", {}, "due_only", None),
    ("burner", "clock_input", {"input_btu_h": 1_060_000.0}, "none", 1_000_000.0),
    ("burner", "clock_input", {"input_btu_h": 1_110_000.0}, "", 1_000_000.0),
    ("burner", "clock_input", {}, "", 1_000_000.0),
    ("flame", "", {}, "full", 4.0),
    ("flame", "", {"seconds_to_shut": 4.1}, "", 4.0),
]


@pytest.mark.parametrize(("ref", "code", "readings", "proves", "held"), HELD)
def test_a_verdict_says_what_it_proves_and_what_it_was_held_against(
    ref: str, code: str, readings: dict[str, Value], proves: str, held: float | None
) -> None:
    verdict = judged(ref, code, **readings)
    assert (verdict.proves, verdict.set_value) == (proves, held)


# a lever lift at, under and over the limit's 8 psi
RAISED = "The high limit is set at 8 psi: was it raised or bypassed? Until it trips it is not proven."


@pytest.mark.parametrize(("psi", "question"), [(7.9, ""), (8.0, RAISED), (8.1, RAISED)])
def test_a_lift_at_the_limits_set_point_asks_whether_the_limit_was_raised(psi: float, question: str) -> None:
    assert judged("valve", gauge_psi=psi).question == question


def test_a_test_claimed_inconclusive_says_so_and_proves_nothing() -> None:
    verdict = judged("limit", outcome="inconclusive")
    assert (verdict.outcome, verdict.proves) == ("inconclusive", "")
    assert verdict.sentence == "Limit trip on the high limit was inconclusive."


def test_a_test_that_was_not_done_says_so_and_asks_nothing() -> None:
    verdict = judged("limit", outcome="not_done")
    assert (verdict.outcome, verdict.grade, verdict.proves, verdict.question) == ("not_done", "", "", "")
    assert verdict.sentence == "Limit trip was not done on the high limit."


ASKS_IF_IT_FAILED = "Claimed as failed, but every reading is fine. It stays failed until corrected: which is right?"


@pytest.mark.parametrize(
    ("readings", "question"),
    [({}, ASKS_IF_IT_FAILED), ({"trip_psi": None}, ""), ({"stayed_off_minutes": 2.0}, ""), ({"call_on": False}, "")],
)
def test_a_claimed_failure_is_asked_about_only_where_every_reading_is_fine(
    readings: dict[str, Value], question: str
) -> None:
    verdict = judged("limit", outcome="fail", **readings)
    assert (verdict.outcome, verdict.grade, verdict.proves) == ("fail", "failed", "")
    assert verdict.sentence == "Limit trip was reported failed on the high limit."
    assert verdict.question == question


def test_two_readings_left_out_are_both_named() -> None:
    verdict = judged("limit", stayed_off_minutes=None, set_psi_read_back=None)
    assert verdict.sentence == (
        "Limit trip on the high limit proves nothing: stayed off minutes, set psi read back not recorded."
    )


def test_a_test_of_a_broken_glass_proves_nothing_that_is_read_there() -> None:
    for code, name in (("slow_drain", "Slow drain"), ("flush", "Flush")):
        boiler = Plant().service().visit(1, proof("glass", outcome="fail")).visit(2, proof("upper", code))
        verdict = boiler.verdict()
        assert (verdict.outcome, verdict.proves) == ("inconclusive", "")
        assert verdict.sentence == f"{name} on the upper cutoff proves nothing: the gauge glass can't be read."


@pytest.mark.parametrize(("code", "name"), JUDGED)
def test_a_reading_that_breaks_its_row_leaves_a_grade_only_where_it_fails(code: str, name: str) -> None:
    spec = procedure_of(code).readings[name]
    graded = worth(code, **{name: bad_reading(spec)})
    assert (graded.outcome.value, graded.grade, graded.proves) == (
        spec.otherwise,
        "failed" if spec.otherwise == "fail" else "",
        "",
    )
    assert bool(graded.faults) is (spec.otherwise == "fail")


@pytest.mark.parametrize("code", TABLED)
def test_a_good_test_by_the_table_has_a_good_grade_and_the_proof_of_its_row(code: str) -> None:
    graded, proof_of_row = worth(code), procedure_of(code).proof
    assert (graded.outcome, graded.grade, graded.faults) == ("pass", "good", ())
    covers = {procedure_of(covered).proof for covered in procedure_of(code).covers}
    expected = proof_of_row if proof_of_row != "none" else "due_only" if "due_only" in covers else ""
    assert graded.proves == expected
