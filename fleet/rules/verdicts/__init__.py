"""What one test is worth: the table of graders, and how a grader's reading is set against what was claimed."""

from collections.abc import Callable
from dataclasses import replace

from fleet.rules.catalogue import ProcedureSpec
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import GradingBench
from fleet.rules.values import EntryVerdict
from fleet.rules.verdicts.accepted import is_taken
from fleet.rules.verdicts.fire import grade_combustion, grade_input
from fleet.rules.verdicts.graded import GradedTest
from fleet.rules.verdicts.ladder import grade_ladder_read_back
from fleet.rules.verdicts.pressure import (
    grade_button_test,
    grade_lever_lift,
    grade_limit_calibration,
    grade_limit_trip,
    grade_new_valve,
    grade_operating_control_trip,
    grade_siphon_check,
)
from fleet.rules.verdicts.table import CLAIMED_FAILURE_RULE, finding_of_failure, grade_by_table
from fleet.rules.verdicts.water import grade_flush, grade_inspection, grade_lowering_test
from fleet.rules.vocabulary import Outcome

GRADERS: dict[str, Callable[[GradingBench], GradedTest]] = {
    "flush": grade_flush,
    "lowering": grade_lowering_test,
    "operating_control_trip": grade_operating_control_trip,
    "limit_trip": grade_limit_trip,
    "limit_calibration": grade_limit_calibration,
    "ladder_read_back": grade_ladder_read_back,
    "lever_lift": grade_lever_lift,
    "new_valve": grade_new_valve,
    "siphon_check": grade_siphon_check,
    "button": grade_button_test,
    "inspection": grade_inspection,
    "combustion": grade_combustion,
    "clocking": grade_input,
    "table": grade_by_table,
}

# Only this one reads the machine's rules of the readings: anywhere else they would be a check that nobody makes.
READS_RULES = frozenset({"table"})

# The finding rules that stand in each grader's code; the catalogue must have a row for every one of them.
FIRES: dict[str, frozenset[str]] = {
    "flush": frozenset(
        {
            FindingCode.FLUSH_NO_WATER,
            FindingCode.FLUSH_KEEPS_FIRING,
            FindingCode.FLUSH_SLOW_RECOVERY,
            FindingCode.FLUSH_DIRTY,
            FindingCode.LOWER_CUTOFF_RESTARTS,
            FindingCode.TEST_FAILED,
        }
    ),
    "lowering": frozenset(
        {
            FindingCode.LOWERING_NO_TRIP,
            FindingCode.LOWERING_TOO_LOW,
            FindingCode.LOWERING_OUT_OF_ORDER,
            FindingCode.LOWER_CUTOFF_RESTARTS,
            FindingCode.TEST_FAILED,
        }
    ),
    "operating_control_trip": frozenset({FindingCode.OPERATING_CONTROL_FAILED}),
    "limit_trip": frozenset({FindingCode.LIMIT_FAILED, FindingCode.LIMIT_RESTARTS, FindingCode.TEST_FAILED}),
    "ladder_read_back": frozenset(
        {
            FindingCode.LADDER_OVER_FIFTEEN,
            FindingCode.LADDER_LIMIT_AT_VALVE,
            FindingCode.LADDER_LIMIT_AT_CUT_OUT,
            FindingCode.LADDER_CUT_IN,
            FindingCode.LADDER_LIMIT_GAP,
            FindingCode.LADDER_OPERATING_GAP,
        }
    ),
    "limit_calibration": frozenset({FindingCode.LIMIT_FAILED, FindingCode.TEST_FAILED}),
    "lever_lift": frozenset(
        {FindingCode.VALVE_NO_LIFT, FindingCode.VALVE_DRIPS, FindingCode.VALVE_DRIPS_AGAIN, FindingCode.TEST_FAILED}
    ),
    "new_valve": frozenset({FindingCode.VALVE_WRONG, FindingCode.VALVE_BLOCKED}),
    "siphon_check": frozenset({FindingCode.SIPHON_PLUGGED}),
    "button": frozenset({FindingCode.TEST_FAILED}),
    "inspection": frozenset({FindingCode.CHAMBER_FOULED}),
    "combustion": frozenset(
        {
            FindingCode.CO_HIGH,
            FindingCode.CO_ADJUST,
            FindingCode.AMBIENT_CO,
            FindingCode.AMBIENT_CO_RAISED,
            FindingCode.BURNER_ADJUST,
        }
    ),
    "clocking": frozenset({FindingCode.OVER_FIRED}),
    "table": frozenset(),
}

# The reading whose limit decides where a grader names no other: a verdict shows this one's source.
DECISIVE_READINGS: dict[str, str] = {
    "flush": "burner_stopped",
    "lowering": "trip_in",
    "operating_control_trip": "trip_psi",
    "limit_trip": "trip_psi",
    "limit_calibration": "trip_psi",
    "ladder_read_back": "limit_psi",
    "lever_lift": "gauge_psi",
    "new_valve": "sealed",
    "siphon_check": "passes_water",
    "inspection": "found_clean",
    "combustion": "co_ppm",
    "clocking": "input_btu_h",
}

# Without a reference for the water none of these counts; bad news does.
READ_AT_THE_GLASS = frozenset({"flush", "slow_drain", "evaporation", "feeder_check"})

_CLAIMED_PASS = "Claimed as passed, but the readings fail it. Only a correction changes this: which is right?"
_CLAIMED_FAIL = "Claimed as failed, but every reading is fine. It stays failed until corrected: which is right?"


def findings_fired_by(procedure: ProcedureSpec) -> frozenset[str]:
    """Return every finding that a test of this procedure may fire: by its grader, its readings or a bare claim."""
    by_reading = {s.finding for s in procedure.readings.values() if s.finding}
    return FIRES.get(procedure.judged_by, frozenset()) | by_reading | {procedure.fails_as or CLAIMED_FAILURE_RULE}


def grade_test(bench: GradingBench) -> GradedTest:
    """Grade one test. The claim can make the answer of the readings worse, never better."""
    claimed = bench.entry.outcome
    if claimed == Outcome.NOT_DONE:
        return GradedTest(Outcome.NOT_DONE, f"{bench.procedure.name} was not done on the {bench.name}.")
    missing = _missing_readings(bench)
    read = GRADERS[bench.procedure.judged_by](bench)
    if read.outcome == Outcome.PASS and bench.record.kind not in bench.procedure.kinds:
        return GradedTest(Outcome.NOT_A_TEST, f"{bench.procedure.name} is no test of what fills the {bench.name}.")
    # Bad news counts without its readings: a control that never opened has no trip pressure to write down.
    if claimed == Outcome.FAIL and read.outcome in (Outcome.PASS, Outcome.INCONCLUSIVE, Outcome.NOTED):
        return _failed_by_claim(bench, read, missing)
    if read.outcome in (Outcome.FAIL, Outcome.NOT_A_TEST):
        is_doubled = claimed == Outcome.PASS and read.outcome == Outcome.FAIL
        return replace(read, question=" ".join(filter(None, (_CLAIMED_PASS if is_doubled else "", read.question))))
    if read.outcome == Outcome.PASS and bench.procedure.code in READ_AT_THE_GLASS and _glass_unreadable(bench):
        return _inconclusive_test(
            read, f"{bench.procedure.name} on the {bench.name} proves nothing: the gauge glass can't be read."
        )
    if claimed == Outcome.INCONCLUSIVE or missing:
        said_by_readings = read.outcome == Outcome.INCONCLUSIVE and not missing
        return _inconclusive_test(read, read.sentence if said_by_readings else _inconclusive_sentence(bench, missing))
    return read


def _inconclusive_test(read: GradedTest, sentence: str) -> GradedTest:
    """Return the test without what it proves; what it found wrong on the way stays."""
    return GradedTest(Outcome.INCONCLUSIVE, sentence, limit=read.limit, set_value=read.set_value, faults=read.faults)


def _glass_unreadable(bench: GradingBench) -> bool:
    return any(c.rule.code == FindingCode.GLASS_UNREADABLE for c in bench.ledger.open_cases())


def _failed_by_claim(bench: GradingBench, read: GradedTest, missing: list[str]) -> GradedTest:
    question = "" if missing or read.outcome != Outcome.PASS else _CLAIMED_FAIL
    # The class and the effect of the procedure: a plugged path blinds what is on it, a failed feeder is no hold.
    faults = ((finding_of_failure(bench), bench.record.position.id), *read.faults)
    sentence = f"{bench.procedure.name} was reported failed on the {bench.name}."
    failed = replace(read, outcome=Outcome.FAIL, grade="failed", proves="", sentence=sentence)
    return replace(failed, question=question, faults=faults)


def _missing_readings(bench: GradingBench) -> list[str]:
    return [s.name for s in bench.procedure.readings.values() if s.required and not is_taken(bench, s)]


def _inconclusive_sentence(bench: GradingBench, missing: list[str]) -> str:
    if missing:
        names = ", ".join(name.replace("_", " ") for name in missing)
        return f"{bench.procedure.name} on the {bench.name} proves nothing: {names} not recorded."
    return f"{bench.procedure.name} on the {bench.name} was inconclusive."


def as_verdict(bench: GradingBench, graded: GradedTest) -> EntryVerdict:
    """Return the verdict that leaves the rules, with the limit, set point and source it was judged by."""
    return EntryVerdict(
        entry=bench.entry.id,
        outcome=graded.outcome.value,
        sentence=graded.sentence,
        grade=graded.grade,
        proves=graded.proves,
        limit=graded.limit,
        set_value=graded.set_value,
        source=_source_of(bench, graded),
        question=graded.question,
        relayed_from=graded.relayed_from,
    )


def _source_of(bench: GradingBench, graded: GradedTest) -> str:
    """Return the source of the limit that decided, else that of the way the test is done."""
    name = graded.reading or DECISIVE_READINGS.get(bench.procedure.judged_by, "")
    spec = bench.procedure.readings.get(name)
    return spec.source if spec else bench.procedure.source
