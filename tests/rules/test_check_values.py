"""The check values of the published sources for low-water protection (S8, S18, S23, S24, S42; CSD-1 CW-120)."""

import pytest

from fleet.rules.values import Standing, State
from tests.rules.build import Boiler, proof


def test_two_cutoffs_both_proven_in_time_are_proven() -> None:
    boiler = Boiler().service()
    assert [boiler.state(r, 1) for r in ("upper", "lower")] == [State.PROVEN, State.PROVEN]


def test_an_upper_cutoff_that_failed_its_flush_is_an_open_critical_deficiency() -> None:
    boiler = Boiler().service().visit(1, proof("upper", "flush", burner_stopped=False))
    assert (boiler.found(), boiler.state("lower", 2)) == ([("flush_keeps_firing", "hold")], State.PROVEN)


def test_trips_at_two_and_a_half_and_one_inch_pass_in_order() -> None:
    boiler = Boiler().visit(0, proof("upper", trip_in=2.5), proof("lower", trip_in=1.0))
    assert [v.outcome for v in boiler.judged().verdicts] == ["pass", "pass"]


def test_trips_with_the_manual_reset_higher_fail() -> None:
    boiler = Boiler().visit(0, proof("upper", trip_in=1.0), proof("lower", trip_in=2.5))
    assert boiler.verdict().outcome == "fail"


@pytest.mark.parametrize("height", [0.0, -0.5])
def test_a_trip_at_or_below_the_glass_bottom_fails(height: float) -> None:
    assert Boiler().visit(0, proof("upper", trip_in=height)).verdict().outcome == "fail"


def test_a_flush_with_the_burner_off_is_not_a_test() -> None:
    boiler = Boiler().visit(0, proof("upper", "flush", burner_firing=False))
    assert (boiler.verdict().outcome, boiler.state("upper", 1)) == ("not_a_test", State.NEVER_PROVEN)


def test_never_proven_is_not_due_later() -> None:
    assert Boiler().state("lower", 0) is State.NEVER_PROVEN


def test_a_cutoff_that_is_needed_and_missing_is_a_hold_when_it_is_the_last_line() -> None:
    boiler = Boiler().service()
    boiler.fittings = [f for f in boiler.fittings if f.kind != "probe_cutoff"]
    assert boiler.standing(1) is Standing.HOLD
