"""The grader of set points read back: against each other, and against what is on record for those not read."""

from collections.abc import Iterator
from uuid import UUID

from fleet.engineering.ladder import Ladder, LadderFault, find_ladder_faults
from fleet.engineering.trips import is_read_back
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import GradingBench, PositionRecord
from fleet.rules.values import Level
from fleet.rules.verdicts.graded import GradedTest, failed_test
from fleet.rules.verdicts.table import finding_of_failure
from fleet.rules.vocabulary import Outcome

LADDER = "cut-in under cut-out under high limit, 2 psi under the safety valve, nothing over 15 psi"
CONTROL_ROLE, LIMIT_ROLE = "operating_control", "high_limit"
AT_CONTROL = frozenset({FindingCode.LADDER_CUT_IN, FindingCode.LADDER_OPERATING_GAP})
# A rung as it is read: the role it is set on, and the key of its setting.
RUNGS = {
    "cut_in_psi": (CONTROL_ROLE, "cut_in_psi"),
    "cut_out_psi": (CONTROL_ROLE, "cut_out_psi"),
    "limit_psi": (LIMIT_ROLE, "set_psi"),
}


def grade_ladder_read_back(bench: GradingBench) -> GradedTest:
    """Grade the set points as they were read. What is read becomes no setting on record: only a `set` does that."""
    faults = find_ladder_faults(_ladder_as_read(bench))
    wrong = tuple((fault.code, _place_of(bench, fault)) for fault in faults)
    question = " ".join(_differences(bench))
    if faults:
        sentences = " ".join(fault.sentence for fault in faults)
        sentence = f"The set points read back at the {bench.name} do not go together. {sentences}"
        if any(fault.level != Level.ROUTINE for fault in faults):
            return failed_test(sentence, *wrong, limit=LADDER)
        return GradedTest(
            Outcome.PASS, sentence, grade="drifted", proves="", limit=LADDER, question=question, faults=wrong
        )
    if bench.yes_or_no_reading("as_posted") is False:
        sentence = f"The set points read back at the {bench.name} are not those posted."
        return failed_test(sentence, (finding_of_failure(bench), bench.record.position.id), limit=LADDER)
    sentence = f"The set points were read back at the {bench.name}."
    return GradedTest(Outcome.PASS, sentence, grade="good", limit=LADDER, question=question)


def _ladder_as_read(bench: GradingBench) -> Ladder:
    """Return the rungs as read; of those not read the most dangerous on record: highest cut-out, lowest limit."""
    rungs = {name: bench.number_reading(name) for name in RUNGS}
    for name, (role, key) in RUNGS.items():
        if rungs[name] is None:
            known = [psi for r in _records_meant(bench, role) if (psi := r.numeric_setting(key)) is not None]
            rungs[name] = min(known, default=None) if name == "limit_psi" else max(known, default=None)
    return Ladder(**rungs, valve_psi=bench.ledger.lowest_setting("safety_valve", "set_psi"))


def _records_meant(bench: GradingBench, role: str) -> list[PositionRecord]:
    """Return the place that was read where it is of this role, else every fitted place of it."""
    if bench.record.role.code == role:
        return [bench.record]
    return [r for r in bench.ledger.records.values() if r.role.code == role and r.device]


def _place_of(bench: GradingBench, fault: LadderFault) -> UUID:
    """Return where a fault belongs, which is where its test is done: at a control, else at a limit."""
    role = CONTROL_ROLE if fault.code in AT_CONTROL else LIMIT_ROLE
    return next(iter(_records_meant(bench, role)), bench.record).position.id


def _differences(bench: GradingBench) -> Iterator[str]:
    """Yield a question for each rung of this place that was read as something else than what is on record."""
    for name, (role, key) in RUNGS.items():
        read, recorded = bench.number_reading(name), bench.record.numeric_setting(key)
        if bench.record.role.code != role or read is None or recorded is None or is_read_back(read, recorded):
            continue
        yield f"{recorded:g} psi is on record and {read:g} psi was read: which is right?"
