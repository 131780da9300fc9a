"""What clears a failure, and the look-alikes that must not."""

import pytest

from fleet.rules.values import FittingFact, Standing, State
from tests.rules import plant
from tests.rules.build import Boiler, act, at, ident, proof, remove, see, swap, turn

NO_TRIP = proof("upper", "slow_drain", burner_stopped=False)
KEEPS_FIRING = proof("upper", "flush", burner_stopped=False)


def test_failed_repaired_and_proven_in_one_visit_costs_nobody_anything() -> None:
    boiler = Boiler().service().visit(1, NO_TRIP, act("upper", "repair"), proof("upper", "slow_drain"))
    assert (boiler.open(), boiler.standing(2)) == ([], Standing.CLEAR)


def test_a_weak_pass_after_a_strong_failure_clears_nothing() -> None:
    boiler = Boiler().service().visit(1, NO_TRIP, act("upper", "repair"), proof("upper", "flush"))
    assert (boiler.open("upper"), boiler.state("upper", 2)) == (["lowering_no_trip"], State.FAILED)


def test_a_slow_drain_does_not_answer_a_failed_evaporation() -> None:
    fail = proof("upper", "evaporation", burner_stopped=False)
    boiler = Boiler().service().visit(1, fail, act("upper", "repair"), proof("upper", "slow_drain"))
    assert boiler.open("upper") == ["lowering_no_trip"]


def test_a_second_weaker_failure_does_not_make_the_weaker_test_enough() -> None:
    boiler = Boiler().service().visit(1, proof("upper", "evaporation", outcome="fail"))
    boiler.visit(2, proof("upper", "flush", outcome="fail"), act("upper", "repair"), proof("upper", "slow_drain"))
    assert boiler.open("upper") == ["test_failed"]


def test_a_stronger_pass_answers_a_weaker_failure() -> None:
    boiler = Boiler().service().visit(1, KEEPS_FIRING, act("upper", "repair"), proof("upper", "evaporation"))
    assert (boiler.closed("upper"), boiler.state("upper", 2)) == (["flush_keeps_firing"], State.PROVEN)


def test_a_flush_after_the_repair_closes_its_finding_but_leaves_the_proof_void() -> None:
    boiler = Boiler().service().visit(1, KEEPS_FIRING, act("upper", "repair"), proof("upper", "flush"))
    assert (boiler.open("upper"), boiler.state("upper", 2)) == ([], State.NEVER_PROVEN)


def test_repaired_but_not_proven_stays_failed() -> None:
    boiler = Boiler().service().visit(1, NO_TRIP, act("upper", "repair"))
    assert (boiler.state("upper", 2), boiler.standing(2)) == (State.FAILED, Standing.HOLD)


def test_work_that_repairs_nothing_is_nothing_done() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5), act("limit", "reset"), proof("limit"))
    assert boiler.state("limit", 2) is State.INTERMITTENT


def test_a_pass_with_nothing_done_makes_it_intermittent_and_no_better() -> None:
    boiler = Boiler().service().visit(1, NO_TRIP).visit(2, proof("upper", "slow_drain"))
    assert (boiler.state("upper", 3), boiler.standing(3)) == (State.INTERMITTENT, Standing.HOLD)


def test_two_failures_of_which_one_passed_idly_are_still_failed() -> None:
    boiler = Boiler().service().visit(1, KEEPS_FIRING, NO_TRIP, proof("upper", "flush"))
    assert boiler.state("upper", 2) is State.FAILED


def test_an_intermittent_device_needs_its_cause_and_three_passes_running() -> None:
    boiler = Boiler().service().visit(1, NO_TRIP, see("upper", "cause_found"))
    boiler.visit(2, *[proof("upper", "slow_drain")] * 2)
    assert boiler.state("upper", 3) is State.INTERMITTENT
    assert boiler.visit(3, proof("upper", "slow_drain")).state("upper", 4) is State.PROVEN


def test_a_cause_named_by_a_caretaker_is_no_cause_yet() -> None:
    boiler = Boiler().service().visit(1, NO_TRIP).visit(2, see("upper", "cause_found"), who="operator")
    assert boiler.visit(3, *[proof("upper")] * 3).state("upper", 4) is State.INTERMITTENT


def test_three_passes_without_a_cause_are_not_enough() -> None:
    boiler = Boiler().service().visit(1, NO_TRIP).visit(2, *[proof("upper", "slow_drain")] * 4)
    assert boiler.state("upper", 3) is State.INTERMITTENT


def test_a_failure_between_the_passes_starts_the_count_again() -> None:
    twice = [proof("upper", "slow_drain")] * 2
    boiler = Boiler().service().visit(1, NO_TRIP, see("upper", "cause_found"), *twice)
    assert boiler.visit(2, NO_TRIP, *twice).state("upper", 3) is State.INTERMITTENT


def test_an_unqualified_pass_does_not_even_make_it_intermittent() -> None:
    boiler = Boiler().service().visit(1, KEEPS_FIRING).visit(2, proof("upper", "flush"), who="")
    assert boiler.state("upper", 3) is State.FAILED


def test_a_caretakers_pass_clears_nothing_above_routine() -> None:
    boiler = Boiler().service().visit(1, KEEPS_FIRING, act("upper", "repair"))
    assert boiler.flushed(2).open("upper") == ["flush_keeps_firing"]


def test_a_caretakers_pass_closes_what_is_routine() -> None:
    boiler = Boiler().service().visit(1, proof("upper", "flush", sediment="very_dirty"), who="operator")
    assert boiler.flushed(2).closed() == ["flush_dirty"]


def test_a_finding_that_shows_again_stays_the_same_episode() -> None:
    dirty = proof("upper", "flush", sediment="very_dirty")
    boiler = Boiler().service().visit(1, dirty).visit(2, dirty)
    assert (boiler.open(), boiler.closed()) == (["flush_dirty"], [])


def test_an_as_found_pass_clears_a_presumption_with_nothing_done() -> None:
    boiler = Boiler().service().visit(1, see("limit", "lockout_found"))
    assert boiler.state("control", 1.5) is State.FAILED
    assert boiler.visit(2, proof("control")).state("control", 3) is State.PROVEN


def test_a_pass_after_a_touch_is_not_as_found_and_leaves_the_presumption() -> None:
    boiler = Boiler().service().visit(1, see("limit", "lockout_found"))
    boiler.visit(2, act("control", "disconnect"), proof("control"))
    assert boiler.state("control", 3) is State.INTERMITTENT


def test_a_flush_does_not_clear_the_presumption_that_a_cutoff_missed_low_water() -> None:
    boiler = Boiler().service().visit(1, see("lower", "lockout_found"), proof("upper", "flush"))
    assert boiler.state("upper", 2) is State.FAILED


def test_a_lockout_renews_no_proof_of_the_device_that_acted() -> None:
    boiler = Boiler().visit(0, see("limit", "lockout_found"))
    assert boiler.state("limit", 1) is State.NEVER_PROVEN


def test_a_jumper_must_come_off_and_the_device_pass() -> None:
    boiler = Boiler().service().visit(1, see("limit", "jumper_found"), proof("limit"))
    assert boiler.standing(1.5) is Standing.HOLD
    assert boiler.visit(2, act("limit", "jumper_removed"), proof("limit")).standing(3) is Standing.CLEAR


def test_a_replacement_starts_a_new_record() -> None:
    boiler = Boiler().service().visit(1, swap("upper"))
    assert boiler.state("upper", 2) is State.NEVER_PROVEN


def test_a_replacement_known_from_the_register_starts_a_new_record_too() -> None:
    boiler = Boiler().service()
    boiler.fittings.append(FittingFact(ident("limit"), ident("other limit"), "limit_control", at(1)))
    assert [boiler.state("limit", day) for day in (0.9, 1.1)] == [State.PROVEN, State.NEVER_PROVEN]


def test_a_repair_after_an_idle_pass_is_failed_again_until_proven() -> None:
    boiler = Boiler().service().visit(1, NO_TRIP, proof("upper")).visit(2, act("upper", "repair"))
    assert [boiler.state("upper", day) for day in (1.5, 2.5)] == [State.INTERMITTENT, State.FAILED]


def test_a_replacement_keeps_the_hold_until_the_new_device_is_proven() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5), swap("limit", set_psi=8.0))
    assert boiler.standing(1.5) is Standing.HOLD
    assert boiler.visit(2, proof("limit")).standing(3) is Standing.CLEAR


def test_a_partial_proof_does_not_close_the_old_failure_for_a_new_device() -> None:
    boiler = Boiler().service().visit(1, KEEPS_FIRING, swap("upper"), proof("upper", "flush"))
    assert boiler.open("upper") == ["flush_keeps_firing"]


def test_an_emptied_place_is_not_fitted() -> None:
    boiler = Boiler().service().visit(1, remove("lower"))
    assert (boiler.state("lower", 2), boiler.standing(2)) == (State.NOT_FITTED, Standing.HOLD)


def test_a_test_entered_on_an_empty_place_proves_nothing() -> None:
    boiler = Boiler().service().visit(1, remove("upper"), proof("upper", "slow_drain"), swap("upper"))
    assert boiler.state("upper", 2) is State.NEVER_PROVEN


@pytest.mark.parametrize("touch", ["open_clean", "adjust", "disconnect", "jumper_fitted", "jumper_removed"])
def test_a_touch_voids_the_proof_until_a_slow_drain_passes(touch: str) -> None:
    boiler = Boiler().service()
    boiler.visit(1, act("upper", touch), proof("upper", "flush"), leave={"jumpers_off": True})
    assert boiler.state("upper", 2) is State.NEVER_PROVEN
    assert boiler.visit(3, proof("upper", "slow_drain")).state("upper", 4) is State.PROVEN


def test_a_pass_before_the_touch_does_not_count_for_it() -> None:
    boiler = Boiler().service().visit(1, proof("limit"), act("limit", "adjust"))
    assert boiler.state("limit", 2) is State.NEVER_PROVEN


def test_a_changed_setting_is_a_touch() -> None:
    boiler = Boiler().service().visit(1, turn("limit", set_psi=9.0))
    assert boiler.state("limit", 2) is State.NEVER_PROVEN


def test_cleaning_the_chamber_voids_the_cutoff_in_it_and_no_other() -> None:
    boiler = Boiler().service().visit(1, act("chamber", "open_clean"))
    assert [boiler.state(r, 2) for r in ("upper", "lower")] == [State.NEVER_PROVEN, State.PROVEN]


def test_slow_recovery_stays_failed_after_a_flush_that_looks_fine() -> None:
    boiler = Boiler().service().visit(1, proof("upper", "flush", recovery="slow"), act("chamber", "rod"))
    boiler.visit(2, proof("upper", "flush"))
    assert (boiler.open("chamber"), boiler.state("upper", 3)) == (["flush_slow_recovery"], State.FAILED)


def test_rodded_and_slow_drained_the_chamber_is_cleared() -> None:
    boiler = Boiler().service().visit(1, proof("upper", "flush", recovery="slow"))
    boiler.visit(2, act("chamber", "rod"), proof("upper", "slow_drain"))
    assert (boiler.open(), boiler.state("upper", 3)) == ([], State.PROVEN)


def test_adjusting_the_cutoff_does_nothing_to_fouled_pipes() -> None:
    boiler = Boiler().service().visit(1, proof("upper", "flush", recovery="slow"))
    boiler.visit(2, act("upper", "adjust"), proof("upper", "slow_drain"))
    assert boiler.open("chamber") == ["flush_slow_recovery"]


def test_opening_the_cutoff_is_something_done_to_the_chamber_it_sits_in() -> None:
    boiler = Boiler().service().visit(1, proof("upper", "flush", recovery="slow"))
    boiler.visit(2, act("upper", "open_clean"), proof("upper", "slow_drain"))
    assert boiler.open("chamber") == []


def test_a_plugged_siphon_blinds_only_what_hangs_on_it() -> None:
    boiler = Boiler().service().visit(1, proof("siphon_b", passes_water=False))
    assert [boiler.state(r, 2) for r in ("limit", "control")] == [State.FAILED, State.PROVEN]


def test_one_siphon_for_both_controls_takes_both_down() -> None:
    boiler = Boiler(one_siphon=True).service().visit(1, proof("siphon_a", passes_water=False))
    assert [boiler.state(r, 2) for r in ("limit", "control")] == [State.FAILED, State.FAILED]


def test_a_cleared_siphon_closes_its_own_finding_and_leaves_the_control_to_its_live_pass() -> None:
    boiler = Boiler().service().visit(1, proof("siphon_b", passes_water=False))
    boiler.visit(2, act("siphon_b", "clear"), proof("siphon_b"))
    assert (boiler.open(), boiler.state("limit", 3)) == ([], State.FAILED)
    assert boiler.visit(4, proof("limit")).state("limit", 5) is State.PROVEN


def test_a_live_pass_before_the_siphon_was_cleared_does_not_count_for_it() -> None:
    boiler = Boiler().service().visit(1, proof("siphon_b", passes_water=False), proof("limit"))
    assert boiler.visit(2, act("siphon_b", "clear"), proof("siphon_b")).state("limit", 3) is State.FAILED


def test_a_new_control_on_a_cleared_siphon_was_never_blind() -> None:
    boiler = Boiler().service().visit(1, proof("siphon_b", passes_water=False), act("siphon_b", "clear"))
    boiler.visit(2, proof("siphon_b"), swap("limit", set_psi=8.0))
    assert boiler.state("limit", 3) is State.NEVER_PROVEN


def test_a_new_control_on_a_plugged_siphon_is_still_down() -> None:
    boiler = Boiler().service().visit(1, proof("siphon_b", passes_water=False), swap("limit", set_psi=8.0))
    assert boiler.visit(2, proof("limit")).state("limit", 3) is State.FAILED


def test_a_drip_after_a_lift_leaves_the_valve_proven_and_is_urgent() -> None:
    boiler = Boiler().service().visit(1, proof("valve", after_lift="drips"))
    assert (boiler.state("valve", 2), boiler.standing(2)) == (State.PROVEN, Standing.IMPAIRED)


def test_one_more_lift_that_stops_the_drip_closes_it() -> None:
    boiler = Boiler().service().visit(1, proof("valve", after_lift="drips"), proof("valve"))
    assert (boiler.closed(), boiler.standing(2)) == (["valve_drips"], Standing.CLEAR)


def test_a_drip_that_one_more_lift_does_not_stop_is_a_hold() -> None:
    boiler = Boiler().service().visit(1, *[proof("valve", after_lift="drips")] * 2)
    assert (boiler.open(), boiler.standing(2)) == (["valve_drips", "valve_drips_again"], Standing.HOLD)


def test_a_drip_after_one_more_weak_lift_is_a_hold_too() -> None:
    boiler = Boiler().service().visit(1, proof("valve", after_lift="drips"))
    boiler.visit(2, proof("valve", after_lift="drips", gauge_psi=2.0))
    assert boiler.standing(3) is Standing.HOLD


def test_a_valve_that_leaked_twice_is_not_trusted_for_one_tight_lift() -> None:
    boiler = Boiler().service().visit(1, *[proof("valve", after_lift="drips")] * 2, proof("valve"))
    assert boiler.standing(2) is Standing.HOLD
    assert boiler.visit(3, swap("valve", set_psi=15.0), proof("valve")).standing(4) is Standing.CLEAR


def test_a_weak_lift_renews_nothing() -> None:
    boiler = Boiler().service().visit(200, proof("valve", gauge_psi=3.0))
    assert boiler.state("valve", 390) is State.LAPSED


def test_cutoffs_that_act_in_the_wrong_order_fail_the_second_one_tested() -> None:
    boiler = Boiler().visit(0, proof("upper", trip_in=1.0), proof("lower", trip_in=2.5))
    assert (boiler.open("lower"), boiler.standing(1)) == (["lowering_out_of_order"], Standing.HOLD)


def test_cutoffs_that_act_at_the_same_height_are_out_of_order() -> None:
    assert Boiler().visit(0, proof("upper"), proof("lower", trip_in=2.5)).open("lower") == ["lowering_out_of_order"]


def test_an_upper_cutoff_that_sank_below_the_lower_one_is_out_of_order() -> None:
    boiler = Boiler().service().visit(1, proof("upper", trip_in=1.5))
    assert boiler.open("upper") == ["lowering_out_of_order"]


def test_a_pass_of_a_test_for_another_kind_ends_no_blindness() -> None:
    boiler = Boiler().service().visit(1, proof("siphon_b", passes_water=False))
    boiler.visit(2, act("siphon_b", "clear"), proof("siphon_b"), proof("limit", "siphon_check", passes_water=True))
    assert boiler.state("limit", 3) is State.FAILED


def test_a_fuel_valve_that_was_apart_must_close_and_hold() -> None:
    boiler = plant.Plant().service().visit(1, act("fuel", "open_clean"), plant.proof("fuel"))
    assert boiler.state("fuel", 2) is State.NEVER_PROVEN
    leak_test = plant.proof("fuel", "fuel_valve_leak_test")
    assert boiler.visit(3, leak_test, who="gas_train").state("fuel", 4) is State.PROVEN


def test_what_a_pass_in_doubt_had_closed_goes_on_as_the_next_episode() -> None:
    boiler = plant.Plant().service().visit(1, plant.proof("limit", trip_psi=13.5))
    boiler.visit(2, act("limit", "repair"), plant.proof("limit"))
    boiler.visit(3, plant.proof("gauge", outcome="fail", difference_psi=6.0, gauge_reads="low"))
    found = [d for d in boiler.judged().deficiencies if d.rule == "limit_failed"]
    assert [(d.episode, d.closed_at is None) for d in found] == [(1, False), (2, True)]
