"""Graders of the pressure side: operating control, high limit, safety valve, siphon; and the test button."""

from dataclasses import dataclass

from fleet.engineering import trips
from fleet.engineering.ladder import LIMIT_UNDER_VALVE_PSI
from fleet.engineering.last_places import compare
from fleet.engineering.trips import (
    CONTROL_UNDER_LIMIT_PSI,
    LEVER_PSI,
    LOWERED_NEAR_PSI,
    STAY_OFF_MINUTES,
)
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.effects import LIMIT_CALIBRATION
from fleet.rules.ledger.episodes import CalibrationNeed
from fleet.rules.ledger.records import GradingBench
from fleet.rules.verdicts.graded import GradedTest, failed_test
from fleet.rules.vocabulary import Outcome

# What a limit is accused of that may act, and too late.
LATE_RULES = frozenset({FindingCode.LIMIT_FAILED, FindingCode.LIMIT_OVERRUN, FindingCode.PRESUMED_BY_VALVE})


def grade_operating_control_trip(bench: GradingBench) -> GradedTest:
    """Grade the trip: at its cut-out, well under the limit. The control is watched, never counted as protection."""
    trip, cut_out = bench.number_reading("trip_psi"), bench.record.numeric_setting("cut_out_psi")
    if trip is None:
        return _trip_not_read(bench, None)
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
        Outcome.PASS,
        sentence,
        grade=read.grade,
        proves="full",
        limit=f"±{read.near:g} psi",
        set_value=cut_out,
        tolerates_psi=read.bound - trip,
    )


def _trip_not_read(bench: GradingBench, set_psi: float | None) -> GradedTest:
    return GradedTest(Outcome.INCONCLUSIVE, f"No trip pressure was read for the {bench.name}.", set_value=set_psi)


@dataclass(frozen=True, slots=True)
class LimitTrip:
    """A trip of the high limit in psig, and what it was made at.

    Raised, the pressure rose to the set point: `trip` is where it acts. Lowered, the set point was turned down to
    `lowered_to` under the live pressure: it acts by as much over its own set point as it did over that one.
    """

    trip: float
    set_psi: float | None
    lowered_to: float | None

    @property
    def acts_at(self) -> float:
        """Where the limit acts at its own set point."""
        if self.lowered_to is None or self.set_psi is None:
            return self.trip
        return max(self.trip, self.set_psi + self.trip - self.lowered_to)


def grade_limit_trip(bench: GradingBench) -> GradedTest:
    """Grade the trip: under the valve, out while the call is on, back only by hand."""
    psi, set_psi = bench.number_reading("trip_psi"), bench.record.numeric_setting("set_psi")
    if psi is None:
        return _trip_not_read(bench, set_psi)
    trip = LimitTrip(psi, set_psi, bench.number_reading("set_psi_during_test"))
    return _failed_limit(bench, trip) or _doubtful_limit(bench, trip) or _passed_limit(bench, trip)


def _valve_psi(bench: GradingBench) -> float:
    return trips.lowest_rung_psi(bench.ledger.lowest_setting("safety_valve", "set_psi"))


def _bound_text(bench: GradingBench) -> str:
    return f"trips at least {LIMIT_UNDER_VALVE_PSI:g} psi under the valve's {_valve_psi(bench):g} psi"


def _failed_limit(bench: GradingBench, trip: LimitTrip) -> GradedTest | None:
    """Return why the limit failed: the next rung is not protected, or it let the burner restart by itself."""
    position, name = bench.record.position.id, bench.name
    if trips.grade_limit_trip(trip.acts_at, trip.set_psi, _valve_psi(bench)).grade == "failed":
        sentence = f"The {name} tripped only at {trip.trip:g} psi{_during_test(trip)}."
        fault = (FindingCode.LIMIT_FAILED, position)
        return failed_test(sentence, fault, limit=_bound_text(bench), set_value=trip.set_psi)
    if bench.yes_or_no_reading("restarted_by_hand") is False:
        sentence = f"The {name} let the burner restart by itself: it must stay out until reset by hand."
        fault = (FindingCode.LIMIT_RESTARTS, position)
        return failed_test(sentence, fault, limit="restarts only by hand", set_value=trip.set_psi)
    return None


def _during_test(trip: LimitTrip) -> str:
    return "" if trip.lowered_to is None else f", set down to {trip.lowered_to:g} for the test"


def _doubtful_limit(bench: GradingBench, trip: LimitTrip) -> GradedTest | None:
    doubt = _reset_doubt(bench, trip.trip)
    if (
        doubt is None
        and trip.lowered_to is not None
        and compare(trip.trip - trip.lowered_to, LOWERED_NEAR_PSI, "psi") > 0
    ):
        return GradedTest(Outcome.INCONCLUSIVE, _far_from_set_point(bench, trip), set_value=trip.lowered_to)
    back = bench.number_reading("set_psi_read_back")
    if (
        doubt is None
        and trip.lowered_to is not None
        and back is not None
        and compare(back, trip.lowered_to, "psi") <= 0
    ):
        doubt = "its setting must be set back up and read"
    if doubt is None:
        return None
    sentence = f"The {bench.name} tripped, but its manual reset is not proven: {doubt}."
    return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=_bound_text(bench), set_value=trip.set_psi)


def _far_from_set_point(bench: GradingBench, trip: LimitTrip) -> str:
    return (
        f"The {bench.name} tripped at {trip.trip:g} psi with its set point turned down to {trip.lowered_to:g}: turn it "
        "down slowly and read where it stands when it trips, or raise the pressure to it."
    )


def _passed_limit(bench: GradingBench, trip: LimitTrip) -> GradedTest:
    """Return the pass. A lowered set point proves the function alone; a raised pressure its calibration too."""
    read, is_raised = trips.grade_limit_trip(trip.acts_at, trip.set_psi, _valve_psi(bench)), trip.lowered_to is None
    grade = read.grade if is_raised else "good"
    calibration = None if is_raised else CalibrationNeed(LATE_RULES, _newest_calibration(bench))
    leaves_open = _rules_left_open(bench, calibration)
    note = f"{'' if grade == 'good' else ': adjust it'}{_CALIBRATE_FIRST if leaves_open else ''}"
    at = f"{trip.trip:g} psi{_during_test(trip)}"
    return GradedTest(
        Outcome.PASS,
        f"The {bench.name} tripped at {at} and stayed out until reset by hand{note}.",
        grade=grade,
        proves="full",
        limit=_bound_text(bench),
        set_value=trip.set_psi if is_raised else trip.lowered_to,
        tolerates_psi=min(read.bound - trip.acts_at, _fall_margin_psi(bench, trip.trip)),
        proves_too=(LIMIT_CALIBRATION,) if is_raised else (),
        leaves_open=leaves_open,
        calibration=calibration,
    )


_CALIBRATE_FIRST = ": where it acts is not shown, trip it by rising pressure or calibrate it first"


def _newest_calibration(bench: GradingBench) -> int:
    """Return the order of the newest calibration of this limit that is not in doubt, 0 where there is none."""
    return max((p.order for p in bench.record.passes if p.code == LIMIT_CALIBRATION and not p.doubtful), default=0)


def _rules_left_open(bench: GradingBench, calibration: CalibrationNeed | None) -> frozenset[str]:
    """Return the rules by which this limit acted too late, and that no calibration has followed since."""
    if calibration is None:
        return frozenset()
    cases = [c for c in bench.record.open_cases() if not c.replaced and not calibration.may_answer(c)]
    return frozenset(c.rule.code for c in cases)


def grade_limit_calibration(bench: GradingBench) -> GradedTest:
    """Grade where the limit trips as the pressure rises, in the boiler or by a hand pump, against its set point."""
    trip, set_psi = bench.number_reading("trip_psi"), bench.record.numeric_setting("set_psi")
    if trip is None:
        return _trip_not_read(bench, set_psi)
    read = trips.grade_limit_trip(trip, set_psi, _valve_psi(bench))
    if read.grade == "failed":
        fault = (FindingCode.LIMIT_FAILED, bench.record.position.id)
        sentence = f"The {bench.name} tripped only at {trip:g} psi."
        return failed_test(sentence, fault, limit=_bound_text(bench), set_value=set_psi)
    sentence = f"The {bench.name} tripped at {trip:g} psi{'' if read.grade == 'good' else ': adjust it'}."
    return GradedTest(
        Outcome.PASS, sentence, grade=read.grade, proves="due_only", limit=_bound_text(bench), set_value=set_psi
    )


def _reset_doubt(bench: GradingBench, trip: float) -> str | None:
    """Return why the lock-out is not proven, None if it is: time out, call on, pressure down, setting read back."""
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
    return None


def _fall_margin_psi(bench: GradingBench, trip: float) -> float:
    """Return how wrong the gauge may be before the pressure had not fallen far enough while the limit stayed out.

    Half the trip reading, or the reset point, whichever leaves more; a gauge off by e reads both off by e.
    """
    after, reset = bench.number_reading("psi_when_checked"), bench.record.numeric_setting("reset_psi")
    if after is None:
        return 0.0
    return max(trip - 2 * after, reset - after if reset is not None else 0.0)


def grade_lever_lift(bench: GradingBench) -> GradedTest:
    """Grade a lift under steam: it shows that the valve is free, and never proves the set pressure."""
    psi, position = bench.number_reading("gauge_psi"), bench.record.position.id
    if bench.yes_or_no_reading("lifted") is False or bench.yes_or_no_reading("discharged") is False:
        return failed_test(f"The {bench.name} did not lift and discharge.", (FindingCode.VALVE_NO_LIFT, position))
    limit = f"lifted with at least {LEVER_PSI:g} psi under it"
    leaks = bench.choice_reading("after_lift") in ("drips", "weeps")
    drips = ((FindingCode.VALVE_DRIPS, position),) if leaks else ()
    if leaks and _leaked_before(bench):
        sentence = f"The {bench.name} still leaks after one more lift."
        return failed_test(sentence, (FindingCode.VALVE_DRIPS_AGAIN, position), limit=limit)
    if psi is None or not trips.is_lever_pressure(psi):
        sentence = f"The {bench.name} was lifted without enough pressure under it{' and drips since' if leaks else ''}."
        return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=limit, faults=drips)
    sentence = f"The {bench.name} lifted at {psi:g} psi{' and drips since' if leaks else ' and closed tight'}."
    return GradedTest(
        Outcome.PASS,
        sentence,
        grade="good",
        proves="full",
        limit=limit,
        faults=drips,
        tolerates_psi=psi - LEVER_PSI,
        question=_lift_question(bench, psi),
    )


def _leaked_before(bench: GradingBench) -> bool:
    return any(
        c.rule.code in (FindingCode.VALVE_DRIPS, FindingCode.VALVE_DRIPS_AGAIN) for c in bench.record.open_cases()
    )


def _lift_question(bench: GradingBench, psi: float) -> str:
    """Return what a lift with at least the limit's set pressure under it asks: the limit should have tripped."""
    limit = bench.ledger.lowest_setting("high_limit", "set_psi")
    if limit is None or compare(psi, limit, "psi") < 0:
        return ""
    return f"The high limit is set at {limit:g} psi: was it raised or bypassed? Until it trips it is not proven."


def grade_new_valve(bench: GradingBench) -> GradedTest:
    """Grade the look at a valve that was just fitted: with seal, stamp and date it needs no lift at first."""
    position, name = bench.record.position.id, bench.name
    if "fitted" not in bench.record.touches:
        sentence = f"The {name} was not just fitted: only a lift, a shop test or a new valve proves it."
        return GradedTest(Outcome.NOT_A_TEST, sentence)
    wrong = _new_valve_faults(bench)
    if wrong:
        return failed_test(" ".join(sentence for _, sentence in wrong), *((code, position) for code, _ in wrong))
    if bench.yes_or_no_reading("dated") is not True:
        return GradedTest(Outcome.INCONCLUSIVE, f"The {name} is not dated: nobody knows when it was last tested.")
    # A new valve does not answer what blocked the old one: that ends only where both ways were seen clear.
    return GradedTest(
        Outcome.PASS,
        f"The {name} is new or from the shop, sealed, stamped and dated.",
        grade="good",
        proves="full",
        leaves_open=frozenset() if all(_ways_of_valve(bench)) else frozenset({FindingCode.VALVE_BLOCKED}),
    )


def _ways_of_valve(bench: GradingBench) -> list[bool | None]:
    """Return whether what leads to the valve and what leads from it was seen clear, with nothing that can shut it."""
    return [bench.yes_or_no_reading(way) for way in ("opening_clear", "discharge_clear")]


def _new_valve_faults(bench: GradingBench) -> list[tuple[FindingCode, str]]:
    """Return what is wrong with the valve and with its ways. Each fails by itself: mending one hides no other."""
    faults: list[tuple[FindingCode, str]] = []
    if bench.yes_or_no_reading("sealed") is False or bench.yes_or_no_reading("stamped") is False:
        faults.append((FindingCode.VALVE_WRONG, f"The {bench.name} is not sealed and stamped for this boiler."))
    if False in _ways_of_valve(bench):
        faults.append((FindingCode.VALVE_BLOCKED, f"The opening or the discharge of the {bench.name} is not clear."))
    return faults


def grade_siphon_check(bench: GradingBench) -> GradedTest:
    """Grade whether water passes the siphon. If not, everything on it is blind."""
    if bench.yes_or_no_reading("passes_water") is False:
        sentence = f"The {bench.name} is plugged: every control and gauge on it is blind."
        return failed_test(sentence, (FindingCode.SIPHON_PLUGGED, bench.record.position.id))
    return GradedTest(Outcome.PASS, f"The {bench.name} passes water.", "good", "full")


def grade_button_test(bench: GradingBench) -> GradedTest:
    """Note a test button: it covers the electronics only and proves nothing."""
    return GradedTest(Outcome.NOTED, f"The test button of the {bench.name} covers its electronics only: never a proof.")
