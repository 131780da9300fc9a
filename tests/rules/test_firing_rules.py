"""Each finding rule: the least case that fires it, and the nearest that does not."""

import pytest

from fleet.rules import verdicts
from fleet.rules.values import EntryFact
from tests.rules.build import Boiler, catalogue, proof, see

IN_OWN_TABLES = {"co_high", "co_adjust", "ambient_co", "ambient_co_raised", "burner_adjust", "over_fired"}
IN_OWN_TABLES |= {f"ladder_{fault}" for fault in ("over_fifteen", "limit_at_valve", "limit_at_cut_out", "cut_in")}
IN_OWN_TABLES |= {"ladder_limit_gap", "ladder_operating_gap"}  # all of these in tables of their own

FIRES = [
    ("flush_no_water", "hold", proof("upper", "flush", water="little")),
    ("flush_no_water", "hold", proof("upper", "flush", water="none", burner_firing=False)),
    ("flush_no_water", "hold", proof("upper", "flush", water="none", burner_stopped=False)),
    ("flush_keeps_firing", "hold", proof("upper", "flush", burner_stopped=False)),
    ("flush_keeps_firing", "hold", proof("upper", "flush", burner_stopped=False, recovery=None)),
    ("flush_slow_recovery", "hold", proof("upper", "flush", recovery="slow")),
    ("flush_slow_recovery", "hold", proof("upper", "flush", recovery="none")),
    ("flush_dirty", "routine", proof("upper", "flush", sediment="very_dirty")),
    ("flush_dirty", "routine", proof("upper", "flush", sediment="very_dirty", recovery=None)),
    ("lowering_no_trip", "hold", proof("upper", "slow_drain", burner_stopped=False, trip_in=None)),
    ("lowering_no_trip", "hold", proof("lower", "evaporation", burner_stopped=False)),
    ("lowering_too_low", "hold", proof("lower", "slow_drain", trip_in=0.0)),
    ("lowering_too_low", "hold", proof("upper", "slow_drain", trip_in=0.0)),
    ("lowering_too_low", "hold", proof("upper", "slow_drain", trip_in=-1.0)),
    ("lower_cutoff_restarts", "hold", proof("lower", "slow_drain", locked_out=False)),
    ("lower_cutoff_restarts", "hold", proof("lower", "flush", locked_out=False)),
    ("operating_control_failed", "urgent", proof("control", trip_psi=7.1)),
    ("operating_control_failed", "urgent", proof("control", outcome="fail", trip_psi=None)),
    ("limit_failed", "hold", proof("limit", trip_psi=13.1)),
    ("limit_failed", "hold", proof("limit", "limit_calibration", trip_psi=13.1)),
    ("limit_restarts", "hold", proof("limit", restarted_by_hand=False)),
    ("limit_restarts", "hold", proof("limit", restarted_by_hand=False, stayed_off_minutes=1.0)),
    ("valve_no_lift", "hold", proof("valve", lifted=False)),
    ("valve_no_lift", "hold", proof("valve", discharged=False)),
    ("valve_no_lift", "hold", proof("valve", lifted=False, gauge_psi=2.0)),
    ("valve_drips", "urgent", proof("valve", after_lift="drips")),
    ("valve_drips", "urgent", proof("valve", after_lift="weeps", gauge_psi=3.0)),
    ("siphon_plugged", "hold", proof("siphon_b", passes_water=False)),
    ("siphon_plugged", "hold", proof("siphon_b", outcome="fail", passes_water=None)),
    ("chamber_fouled", "hold", proof("chamber", outcome="fail", found_clean=False)),
    ("test_failed", "hold", proof("limit", outcome="fail")),
    ("test_failed", "hold", proof("limit", outcome="fail", trip_psi=None)),
    ("test_failed", "hold", proof("lower", "button_test", outcome="fail")),
    ("lockout_found", "urgent", see("limit", "lockout_found")),
    ("lockout_found", "urgent", see("lower", "lockout_found")),
    ("jumper_found", "hold", see("lower", "jumper_found")),
    ("probe_scaled", "urgent", see("lower", "probe_scaled")),
    ("probe_bridged", "hold", see("lower", "probe_bridged")),
    ("valve_drips", "urgent", see("valve", "valve_dripping")),
    ("valve_blocked", "hold", see("valve", "valve_blocked")),
    ("valve_wrong", "hold", see("valve", "seal_broken")),
]

SILENT = [
    proof("upper", "flush"),
    proof("upper", "flush", burner_firing=False, burner_stopped=False),
    proof("upper", "flush", burner_firing=False, outcome="fail", burner_stopped=False),
    proof("upper", "flush", recovery=None),
    proof("upper", "flush", sediment="dirty"),
    proof("upper", "slow_drain", trip_in=1.6),
    proof("upper", "slow_drain", burner_firing=False, burner_stopped=False),
    proof("lower", "slow_drain"),
    proof("lower", "slow_drain", trip_in=1.0),
    proof("lower", "slow_drain", trip_in=0.9),
    proof("lower", "slow_drain", locked_out=None),
    proof("control", trip_psi=7.0),
    proof("control", trip_psi=None),
    proof("control", outcome="not_done"),
    proof("limit", trip_psi=13.0),
    proof("limit", stayed_off_minutes=2.9),
    proof("limit", call_on=False),
    proof("valve"),
    proof("valve", gauge_psi=4.9),
    proof("valve", after_lift=None),
    proof("siphon_b"),
    proof("siphon_b", passes_water=None),
    proof("chamber", found_clean=False),
    proof("lower", "button_test"),
    see("limit", "cause_found"),
]


@pytest.mark.parametrize(("rule", "level", "entry"), FIRES)
def test_the_least_case_fires_its_rule_and_no_other(rule: str, level: str, entry: EntryFact) -> None:
    assert Boiler().service().visit(1, entry).found() == [(rule, level)]


@pytest.mark.parametrize("entry", SILENT)
def test_the_nearest_case_fires_nothing(entry: EntryFact) -> None:
    assert Boiler().service().visit(1, entry).found() == []


@pytest.mark.parametrize(("rule", "level", "entry"), FIRES)
def test_bad_news_counts_from_anybody(rule: str, level: str, entry: EntryFact) -> None:
    assert Boiler().service().visit(1, entry, who="").found() == [(rule, level)]


@pytest.mark.parametrize(("rule", "level", "entry"), FIRES)
def test_every_finding_says_what_to_do_first(rule: str, level: str, entry: EntryFact) -> None:
    (finding,) = Boiler().service().visit(1, entry).findings()
    assert len(finding.first_act) > 40


def test_switch_and_pipes_that_fail_in_one_flush_are_two_findings() -> None:
    boiler = Boiler().service().visit(1, proof("upper", "flush", burner_stopped=False, recovery="slow"))
    assert {rule for rule, _ in boiler.found()} == {"flush_keeps_firing", "flush_slow_recovery"}


def test_a_lockout_with_no_rung_before_it_asks_for_the_cause_and_accuses_nobody() -> None:
    boiler = Boiler().service()
    boiler.fittings = [f for f in boiler.fittings if f.kind != "float_cutoff"]
    boiler.visit(1, see("lower", "lockout_found"))
    assert (boiler.open("lower"), boiler.state("lower", 2).value) == (["lockout_cause"], "proven")


@pytest.mark.parametrize(("rule", "level", "entry"), [case for case in FIRES if case[2].act == "test"])
def test_a_grader_fires_only_what_it_says_it_fires(rule: str, level: str, entry: EntryFact) -> None:
    assert rule in verdicts.FIRES[catalogue().procedures[entry.code].judged_by]


def test_every_rule_a_grader_says_it_fires_has_a_case_that_fires_it() -> None:
    fired = {(catalogue().procedures[e.code].judged_by, rule) for rule, _, e in FIRES if e.act == "test"}
    said = {(grader, rule) for grader, rules in verdicts.FIRES.items() for rule in rules}
    assert {rule for _, rule in said - fired} <= {
        "test_failed",
        "lowering_out_of_order",
        "valve_drips_again",
        "valve_blocked",  # this and the next of a valve that was just fitted: proof_by_new.yaml
        "valve_wrong",
        *IN_OWN_TABLES,
    }
