"""What one test is worth: outcome, grade and what it proves."""

import pytest

from fleet.rules.values import EntryFact
from tests.rules.build import Boiler, act, proof, swap, turn

WORTH = [
    (proof("upper", "flush"), "pass", "good", "partial"),
    (proof("upper", "flush", burner_firing=None), "inconclusive", "", ""),
    (proof("upper", "flush", burner_firing=False), "not_a_test", "", ""),
    (proof("upper", "flush", outcome="inconclusive"), "inconclusive", "", ""),
    (proof("upper", "flush", water="little"), "not_a_test", "", ""),
    (proof("upper", "flush", recovery="fine"), "inconclusive", "", ""),
    (proof("upper", "flush", burner_firing="yes"), "inconclusive", "", ""),
    (proof("upper", "slow_drain", trip_in=float("nan")), "inconclusive", "", ""),
    (proof("limit", trip_psi=float("nan")), "inconclusive", "", ""),
    (proof("limit", psi_when_checked=float("nan")), "inconclusive", "", ""),
    (proof("limit", set_psi_read_back=True), "inconclusive", "", ""),
    (proof("upper", "slow_drain", trip_in=3.0), "pass", "good", "full"),
    (proof("upper", "slow_drain", trip_in=3.1), "pass", "drifted", "full"),
    (proof("upper", "slow_drain", trip_in=None), "inconclusive", "", ""),
    (proof("upper", "slow_drain", burner_firing=False), "not_a_test", "", ""),
    (proof("lower", "slow_drain", locked_out=None), "inconclusive", "", ""),
    (proof("lower", "flush"), "not_a_test", "", ""),
    (proof("lower", "button_test"), "noted", "", ""),
    (proof("control", trip_psi=2.5), "pass", "good", "full"),
    (proof("control", trip_psi=2.6), "pass", "drifted", "full"),
    (proof("control", trip_psi=7.0), "pass", "drifted", "full"),
    (proof("control", trip_psi=7.1), "fail", "failed", ""),
    (proof("limit", trip_psi=9.0), "pass", "good", "full"),
    (proof("limit", trip_psi=9.1), "pass", "drifted", "full"),
    (proof("limit", trip_psi=13.1), "fail", "failed", ""),
    (proof("limit", stayed_off_minutes=2.9), "inconclusive", "", ""),
    (proof("limit", stayed_off_minutes=3.0), "pass", "good", "full"),
    (proof("limit", psi_when_checked=4.0), "inconclusive", "", ""),
    (proof("limit", psi_when_checked=3.9), "pass", "good", "full"),
    (proof("limit", set_psi_read_back=9.0), "inconclusive", "", ""),
    (proof("limit", set_psi_read_back=None), "inconclusive", "", ""),
    (proof("limit", call_on=False), "inconclusive", "", ""),
    (proof("limit", restarted_by_hand=None), "inconclusive", "", ""),
    (proof("limit", outcome="not_done"), "not_done", "", ""),
    (proof("valve", gauge_psi=5.0), "pass", "good", "full"),
    (proof("valve", gauge_psi=4.9), "inconclusive", "", ""),
    (proof("valve", after_lift="drips"), "pass", "good", "full"),
    (proof("siphon_a"), "pass", "good", "full"),
]


@pytest.mark.parametrize(("entry", "outcome", "grade", "proves"), WORTH)
def test_a_test_is_worth_what_its_readings_say(entry: EntryFact, outcome: str, grade: str, proves: str) -> None:
    verdict = Boiler().service().visit(1, entry).verdict()
    assert verdict.outcome == outcome
    assert verdict.grade == grade
    assert verdict.proves == proves


def test_a_pass_claimed_over_bad_readings_fails_and_asks_which_is_right() -> None:
    verdict = Boiler().service().visit(1, proof("limit", trip_psi=13.5)).verdict()
    assert verdict.outcome == "fail"
    assert verdict.question


def test_a_failure_claimed_over_good_readings_stays_failed_and_asks_which_is_right() -> None:
    verdict = Boiler().service().visit(1, proof("limit", outcome="fail")).verdict()
    assert verdict.outcome == "fail"
    assert verdict.question


def test_a_failure_claimed_without_readings_is_a_failure_without_a_question() -> None:
    verdict = Boiler().service().visit(1, proof("limit", outcome="fail", trip_psi=None)).verdict()
    assert (verdict.outcome, verdict.question) == ("fail", "")


def test_the_verdict_names_limit_set_point_and_source() -> None:
    verdict = Boiler().service().visit(1, proof("limit")).verdict()
    assert verdict.set_value == 8.0
    assert "13" in verdict.limit or "15 psi" in verdict.limit
    assert verdict.source


def test_an_unqualified_pass_is_kept_and_proves_nothing() -> None:
    verdict = Boiler().service().visit(1, proof("limit"), who="operator").verdict()
    assert (verdict.outcome, verdict.proves) == ("pass", "")


def test_an_unqualified_reading_is_no_reference() -> None:
    boiler = Boiler().visit(1, proof("upper", "slow_drain", trip_in=4.0), who="operator")
    assert boiler.visit(2, proof("upper", "slow_drain", trip_in=2.5)).verdict().grade == "good"
    assert boiler.visit(3, proof("upper", "slow_drain", trip_in=4.0)).verdict().grade == "drifted"


def test_a_cutoff_that_creeps_is_held_against_its_first_height_and_not_its_last() -> None:
    boiler = Boiler().service()  # 2.5 in
    grades = [boiler.visit(n, proof("upper", "slow_drain", trip_in=h)).verdict().grade for n, h in ((1, 2.9), (2, 3.3))]
    assert grades == ["good", "drifted"]


def test_the_first_height_is_the_one_that_its_visit_left() -> None:
    boiler = Boiler().visit(0, proof("upper", trip_in=4.0), act("upper", "repair"), proof("upper", trip_in=2.5))
    assert boiler.visit(1, proof("upper", trip_in=2.0)).verdict().grade == "good"
    assert boiler.visit(2, proof("upper", trip_in=3.1)).verdict().grade == "drifted"


def test_the_maker_s_mark_goes_before_the_first_height() -> None:
    boiler = Boiler().service().sets(0.5, "upper", "trip_in", 3.5)
    verdict = boiler.visit(1, proof("upper", "slow_drain", trip_in=2.5)).verdict()
    assert (verdict.grade, verdict.set_value) == ("drifted", 3.5)


def test_a_lowest_safe_line_in_the_glass_is_questioned_where_it_fails_a_trip() -> None:
    boiler = Boiler().service().sets(0.5, None, "lowest_safe_line_in", 2.0)
    failed = boiler.visit(1, proof("lower", "slow_drain", trip_in=1.5)).verdict()
    assert failed.outcome == "fail"
    assert "is it the maker's?" in failed.question
    assert boiler.visit(2, proof("upper", "slow_drain", trip_in=2.5)).verdict().question == ""


def test_a_lower_cutoff_may_trip_nine_tenths_of_an_inch_over_the_bottom_of_the_glass() -> None:
    """S8 allows the lowest visible part of the glass."""
    boiler = Boiler().visit(0, proof("upper"), proof("lower", trip_in=0.9))
    assert boiler.verdict().outcome == "pass"
    assert boiler.verdict().grade == "good"
    assert boiler.found() == []


def test_a_pressure_under_the_known_reset_point_proves_the_lock_out() -> None:
    boiler = Boiler().service().sets(0.5, "limit", "reset_psi", 6.0)
    assert boiler.visit(1, proof("limit", psi_when_checked=5.9)).verdict().proves == "full"
    assert boiler.visit(2, proof("limit", psi_when_checked=6.0)).verdict().proves == ""


@pytest.mark.parametrize(
    ("written", "trip", "outcome"), [(30.0, 13.1, "fail"), (12.0, 10.1, "fail"), (12.0, 10, "pass")]
)
def test_the_limit_is_judged_by_the_lower_of_its_valve_and_15_psi(written: float, trip: float, outcome: str) -> None:
    boiler = Boiler().service().sets(0.5, "valve", "set_psi", written)
    assert boiler.visit(1, proof("limit", trip_psi=trip)).verdict().outcome == outcome


def test_an_operating_control_is_judged_although_no_limit_is_known() -> None:
    boiler = Boiler().service()
    boiler.fittings = [f for f in boiler.fittings if f.kind != "limit_control"]
    assert boiler.visit(1, proof("control", trip_psi=14.1)).verdict().outcome == "fail"


def test_a_new_device_has_no_last_height_to_drift_from() -> None:
    boiler = Boiler().service().visit(1, swap("upper"), proof("upper", trip_in=4.0))
    assert boiler.verdict().grade == "good"


def test_a_changed_set_point_goes_with_the_device_it_was_set_on() -> None:
    boiler = Boiler().service().visit(1, turn("limit", set_psi=10.0), swap("limit", set_psi=8.0), proof("limit"))
    assert (boiler.verdict().set_value, boiler.verdict().proves) == (8.0, "full")


def test_a_wide_differential_widens_what_is_good() -> None:
    boiler = Boiler().service().sets(0.5, "control", "differential_psi", 4.0)
    assert boiler.visit(1, proof("control", trip_psi=2.8)).verdict().grade == "good"


@pytest.mark.parametrize(("height", "outcome"), [(1.99, "fail"), (2.0, "pass"), (2.01, "pass")])
def test_a_cutoff_must_not_act_under_the_recorded_lowest_safe_line(height: float, outcome: str) -> None:
    boiler = Boiler().service().sets(0.5, None, "lowest_safe_line_in", 2.0)
    assert boiler.visit(1, proof("upper", "slow_drain", trip_in=height)).verdict().outcome == outcome


def test_a_set_point_is_the_one_that_applied_when_the_test_was_done() -> None:
    boiler = Boiler().service().visit(3, proof("limit", trip_psi=9.5, set_psi_read_back=8.0))
    boiler.visit(2, turn("limit", set_psi=10.0))
    assert (boiler.verdict().set_value, boiler.verdict().outcome) == (10.0, "inconclusive")


def test_a_replaced_control_is_no_longer_judged_by_the_old_set_point() -> None:
    boiler = Boiler().service()
    boiler.visit(1, swap("control", cut_out_psi=5.0), proof("control", trip_psi=5.0))
    assert (boiler.verdict().grade, boiler.verdict().set_value) == ("good", 5.0)
