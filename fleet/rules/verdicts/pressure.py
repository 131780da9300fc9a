"""Graders of the pressure side: operating control, high limit, safety valve, siphon; and the test button."""

from fleet.engineering import trips
from fleet.engineering.trips import CONTROL_UNDER_LIMIT_PSI, LEVER_PSI, LIMIT_UNDER_VALVE_PSI, STAY_OFF_MINUTES
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import GradingBench
from fleet.rules.verdicts.graded import GradedTest, failed_test
from fleet.rules.vocabulary import Outcome


def grade_operating_control_trip(bench: GradingBench) -> GradedTest:
    """Grade the trip: at its cut-out, well under the limit. The control is watched, never counted as protection."""
    trip, cut_out = bench.number_reading("trip_psi"), bench.record.numeric_setting("cut_out_psi")
    if trip is None:
        return GradedTest(Outcome.INCONCLUSIVE, f"No trip pressure was read for the {bench.name}.")
    limit_set = bench.ledger.lowest_setting("high_limit", "set_psi")
    read = trips.grade_control_trip(trip, cut_out, bench.record.numeric_setting("differential_psi"), limit_set)
    if read.grade == "failed":
        rung = trips.lowest_rung_psi(limit_set)
        limit = f"opens at least {CONTROL_UNDER_LIMIT_PSI:g} psi below the limit's {rung:g} psi"
        sentence = f"The {bench.name} opened at {trip:g} psi, too close to the high limit to do its work."
        fault = (FindingCode.OPERATING_CONTROL_FAILED, bench.record.position.id)
        return failed_test(sentence, fault, limit=limit, set_value=cut_out)
    sentence = f"The {bench.name} opened at {trip:g} psi{'' if read.grade == 'good' else ': adjust it'}."
    return GradedTest(
        Outcome.PASS, sentence, grade=read.grade, proves="full", limit=f"±{read.near:g} psi", set_value=cut_out
    )


def grade_limit_trip(bench: GradingBench) -> GradedTest:
    """Grade the trip: under the valve, out while the call is on, back only by hand."""
    trip, set_psi = bench.number_reading("trip_psi"), bench.record.numeric_setting("set_psi")
    position, name = bench.record.position.id, bench.name
    if trip is None:
        return GradedTest(Outcome.INCONCLUSIVE, f"No trip pressure was read for the {name}.", set_value=set_psi)
    valve_set = bench.ledger.lowest_setting("safety_valve", "set_psi")
    read = trips.grade_limit_trip(trip, set_psi, valve_set)
    valve = trips.lowest_rung_psi(valve_set)
    limit = f"trips at least {LIMIT_UNDER_VALVE_PSI:g} psi under the valve's {valve:g} psi"
    if read.grade == "failed":
        sentence = f"The {name} tripped only at {trip:g} psi."
        return failed_test(sentence, (FindingCode.LIMIT_FAILED, position), limit=limit, set_value=set_psi)
    if bench.yes_or_no_reading("restarted_by_hand") is False:
        sentence = f"The {name} let the burner restart by itself: it must stay out until reset by hand."
        return failed_test(
            sentence, (FindingCode.LIMIT_RESTARTS, position), limit="restarts only by hand", set_value=set_psi
        )
    doubt = _reset_doubt(bench, trip)
    if doubt:
        doubt_sentence = f"The {name} tripped, but its manual reset is not proven: {doubt}."
        return GradedTest(Outcome.INCONCLUSIVE, doubt_sentence, limit=limit, set_value=set_psi)
    adjust_text = "" if read.grade == "good" else ": adjust it"
    sentence = f"The {name} tripped at {trip:g} psi and stayed out until reset by hand{adjust_text}."
    return GradedTest(Outcome.PASS, sentence, grade=read.grade, proves="full", limit=limit, set_value=set_psi)


def _reset_doubt(bench: GradingBench, trip: float) -> str:
    """Return why the lock-out is not proven, "" if it is: time out, call on, pressure well down, setting read back."""
    minutes, after, back = (
        bench.number_reading(n) for n in ("stayed_off_minutes", "psi_when_checked", "set_psi_read_back")
    )
    if minutes is None or not trips.has_stayed_off(minutes):
        return f"it must stay off at least {STAY_OFF_MINUTES:g} minutes"
    if bench.yes_or_no_reading("call_on") is not True:
        return "the call for heat must be on while it is watched"
    if after is None or not trips.has_fallen(after, trip, bench.record.numeric_setting("reset_psi")):
        return "the pressure must fall to half the trip reading or under its reset point while it stays off"
    if back is None or not trips.is_read_back(back, bench.record.numeric_setting("set_psi")):
        return "its setting must be read back where it was found"
    return ""


def grade_lever_lift(bench: GradingBench) -> GradedTest:
    """Grade a lift under steam: it shows that the valve is free, and never proves the set pressure."""
    psi, position = bench.number_reading("gauge_psi"), bench.record.position.id
    if bench.yes_or_no_reading("lifted") is False or bench.yes_or_no_reading("discharged") is False:
        return failed_test(f"The {bench.name} did not lift and discharge.", (FindingCode.VALVE_NO_LIFT, position))
    limit = f"lifted with at least {LEVER_PSI:g} psi under it"
    leaks = bench.choice_reading("after_lift") in ("drips", "weeps")
    drips = ((FindingCode.VALVE_DRIPS, position),) if leaks else ()
    if leaks and any(
        c.rule.code in (FindingCode.VALVE_DRIPS, FindingCode.VALVE_DRIPS_AGAIN) for c in bench.record.open_cases()
    ):
        sentence = f"The {bench.name} still leaks after one more lift."
        return failed_test(sentence, (FindingCode.VALVE_DRIPS_AGAIN, position), limit=limit)
    if psi is None or not trips.is_lever_pressure(psi):
        sentence = f"The {bench.name} was lifted without enough pressure under it{' and drips since' if leaks else ''}."
        return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=limit, faults=drips)
    sentence = f"The {bench.name} lifted at {psi:g} psi{' and drips since' if leaks else ' and closed tight'}."
    return GradedTest(Outcome.PASS, sentence, grade="good", proves="full", limit=limit, faults=drips)


def grade_siphon_check(bench: GradingBench) -> GradedTest:
    """Grade whether water passes the siphon. If not, everything on it is blind."""
    if bench.yes_or_no_reading("passes_water") is False:
        sentence = f"The {bench.name} is plugged: every control and gauge on it is blind."
        return failed_test(sentence, (FindingCode.SIPHON_PLUGGED, bench.record.position.id))
    return GradedTest(Outcome.PASS, f"The {bench.name} passes water.", "good", "full")


def grade_button_test(bench: GradingBench) -> GradedTest:
    """Note a test button: it covers the electronics only and proves nothing."""
    return GradedTest(Outcome.NOTED, f"The test button of the {bench.name} covers its electronics only: never a proof.")
