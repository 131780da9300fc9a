"""What one entry of a visit does: a test is graded, work voids and repairs, something seen accuses."""

from collections.abc import Callable
from dataclasses import replace
from math import inf
from uuid import UUID

from fleet.rules.finding_codes import WHOLE_BOILER_FINDINGS
from fleet.rules.findings import (
    doubt_adjusted_gauge,
    doubt_of_lock,
    doubt_readings_of,
    doubt_unmeasured_gauge,
    find_by_observation,
    find_in_history,
    is_read_by_test_gauge,
    name_known_wrong_gauge,
    note_jumper,
    note_lock,
)
from fleet.rules.ledger import effects
from fleet.rules.ledger.episodes import OutstandingTouch
from fleet.rules.ledger.papers_of_others import explain_no_proof
from fleet.rules.ledger.records import EntryTrace, GradingBench, PositionRecord, ReplayLedger
from fleet.rules.replay.replay_run import ReplayRun
from fleet.rules.values import EntryFact, JudgedFinding, VisitFact
from fleet.rules.verdicts import as_verdict, grade_test
from fleet.rules.verdicts.graded import GradedTest
from fleet.rules.vocabulary import OPERATOR, EntryAct, Outcome


def _grade_under_lock(bench: GradingBench) -> GradedTest:
    """Grade a test. A pass that needs the burner proves nothing while power or fuel is locked off."""
    graded, doubt = grade_test(bench), doubt_of_lock(bench.ledger, bench.visit, bench.entry)
    if not doubt or graded.outcome != Outcome.PASS:
        return graded
    sentence = f"{bench.procedure.name} on the {bench.name} proves nothing while power or fuel is locked off."
    return replace(graded, outcome=Outcome.INCONCLUSIVE, grade="", proves="", sentence=sentence, question=doubt)


def _grade_reading(bench: GradingBench) -> GradedTest:
    """Grade a test. A pass that was read by a gauge known to be wrong, by enough to change it, proves nothing."""
    graded = _grade_under_lock(bench)
    gauge = name_known_wrong_gauge(bench.ledger, bench.entry, graded.tolerates_psi)
    if not gauge or graded.outcome != Outcome.PASS:
        return graded
    sentence = (
        f"{graded.sentence} It proves nothing: the {gauge} is known to be wrong. Repeat it with a test gauge, "
        "or once the gauge is put right."
    )
    return replace(graded, outcome=Outcome.INCONCLUSIVE, grade="", proves="", sentence=sentence)


def _without_proof(bench: GradingBench, graded: GradedTest) -> GradedTest:
    """Return a pass that changes nothing; on a paper it is inconclusive, lest anybody take it for one that counts."""
    unproven = replace(graded, proves="", sentence=f"{graded.sentence} {explain_no_proof(bench)}")
    return replace(unproven, outcome=Outcome.INCONCLUSIVE, grade="") if bench.visit.paper else unproven


def _apply_test(run: ReplayRun, visit: VisitFact, entry: EntryFact, record: PositionRecord) -> None:
    ledger = run.ledger
    procedure = ledger.catalogue.procedures[entry.code]
    bench = GradingBench(visit, entry, procedure=procedure, record=record, ledger=ledger)
    graded = _grade_reading(bench)
    against = graded.leaves_open | {rule for rule, _ in graded.faults}
    if procedure.voids and graded.outcome != Outcome.NOT_DONE:
        # What a test opens is touched; its own pass answers for its own device, not for what hangs on it.
        effects.apply_touch(ledger, record, procedure.voids, entry)
    if graded.outcome == Outcome.PASS:
        graded = _apply_graded_pass(bench, graded, against)
    for rule, place in graded.faults:
        found_at = None if rule in WHOLE_BOILER_FINDINGS else ledger.records[place]
        open_finding(run, visit, entry=entry, rule_code=rule, place=found_at, sentence=graded.sentence)
    run.by_entry[entry.id] = as_verdict(bench, graded)
    run.verdicts.append(run.by_entry[entry.id])
    ledger.outcomes[entry.id] = graded.outcome.value
    if graded.outcome != Outcome.NOT_DONE:
        effects.note_read_back(ledger, record, entry)
        effects.touch_limits_passed(ledger, entry)


def _apply_graded_pass(bench: GradingBench, graded: GradedTest, against: frozenset[str]) -> GradedTest:
    """Apply a pass and return it as it stands: without a proof where nobody present may give one."""
    tolerates_psi = inf if is_read_by_test_gauge(bench.entry) else graded.tolerates_psi
    if effects.apply_pass(
        bench,
        graded.proves,
        against,
        tolerates_psi=tolerates_psi,
        proves_too=graded.proves_too,
        calibration=graded.calibration,
    ):
        return replace(graded, relayed_from=_relayed_from(bench))
    return _without_proof(bench, graded)


def _relayed_from(bench: GradingBench) -> tuple[UUID, ...]:
    """Return whose relayed word a pass rests on; nobody's where somebody who stands behind the visit may give it."""
    own_word = bench.visit.good_news_from - {OPERATOR}
    return () if bench.procedure.who & own_word else bench.visit.relayed_from


def open_finding(
    run: ReplayRun, visit: VisitFact, entry: EntryFact, rule_code: str, place: PositionRecord | None, sentence: str
) -> None:
    """Open an episode or renew the open one, put in doubt what it blinds, and note the finding of the visit."""
    if rule_code not in run.ledger.catalogue.findings:
        return  # the release in force then did not know it yet
    case = effects.open_case(run.ledger, rule_code, place=place, entry=entry, sentence=sentence)
    doubt_readings_of(run.ledger, case, place, entry)
    run.findings.append(
        JudgedFinding(
            visit=visit.id,
            rule=case.rule.code,
            position=place.position.id if place else None,
            entries=(entry.id,),
            level=case.level,
            sentence=sentence,
            first_act=case.rule.first_act,
        )
    )


def _apply_action(run: ReplayRun, visit: VisitFact, entry: EntryFact, record: PositionRecord) -> None:
    action = run.ledger.catalogue.actions[entry.code]
    note_jumper(record, entry.code, entry.id)
    note_lock(run.ledger, visit, entry, record)
    if action.touch == "adjust":
        doubt_adjusted_gauge(run.ledger, record, entry)
    if action.repairs:
        effects.note_repair(run.ledger, record, entry.at, opened=action.touch == "open")
    if action.touch:
        effects.apply_touch(run.ledger, record, action.touch, entry)


def _apply_replacement(run: ReplayRun, visit: VisitFact, entry: EntryFact, record: PositionRecord) -> None:
    doubt_unmeasured_gauge(run.ledger, record, entry.at, entry.id)
    effects.fill_position(run.ledger, record, device=entry.device, kind=entry.kind, at=entry.at)
    record.attributes = entry.values
    if entry.device:
        effects.owe_test(run.ledger, record, "fitted", entry)
    if record.role.part == "input_path":
        effects.apply_touch(run.ledger, record, "open", entry)
    # To be passed before the boiler is ready, as after any other touch: a fitted device has proven nothing yet.
    needs = frozenset(p.code for p in run.ledger.catalogue.proofs_of_kind(entry.kind, "full"))
    if entry.device and needs:
        record.touches["fitted"] = OutstandingTouch("fitted", entry.at, entry.id, (needs,))


def _set_entry(run: ReplayRun, visit: VisitFact, entry: EntryFact, record: PositionRecord) -> None:
    record.settings.update(entry.values)
    for key in entry.values:
        record.read_back.pop(key, None)
    effects.note_repair(run.ledger, record, entry.at, opened=False)
    effects.apply_touch(run.ledger, record, "adjust", entry)


def _apply_observation(run: ReplayRun, visit: VisitFact, entry: EntryFact, record: PositionRecord | None) -> None:
    for rule, place, sentence in find_by_observation(run.ledger, visit, entry, record):
        open_finding(run, visit, entry=entry, rule_code=rule, place=place, sentence=sentence)


_ACTS: dict[str, Callable[[ReplayRun, VisitFact, EntryFact, PositionRecord], None]] = {
    "test": _apply_test,
    "action": _apply_action,
    "replace": _apply_replacement,
    "fit": _apply_replacement,
    "remove": _apply_replacement,
    "set": _set_entry,
}


def apply_entry(run: ReplayRun, visit: VisitFact, entry: EntryFact | None) -> dict[UUID, PositionRecord]:
    """Apply one entry. Return the positions whose state of knowledge may have changed."""
    if entry is None:
        return {}
    record = run.ledger.records.get(entry.position) if entry.position else None
    findings_before = len(run.findings)
    alone = record is not None and entry.act == EntryAct.TEST and _leaves_alone(run.ledger, record, entry)
    if entry.act == EntryAct.OBSERVE:
        _apply_observation(run, visit, entry, record)
    elif record is not None:
        _ACTS[entry.act](run, visit, entry, record)
    for rule, place, sentence in list(find_in_history(run.ledger, visit, entry, record)):
        open_finding(run, visit, entry=entry, rule_code=rule, place=place, sentence=sentence)
    run.ledger.trail.append(EntryTrace(visit, entry, run.ledger.outcomes.get(entry.id, "")))
    reaches_all, run.ledger.reaches_all = run.ledger.reaches_all, False
    if reaches_all or len(run.findings) > findings_before or entry.act not in ("test", "observe"):
        return run.ledger.records  # a finding may accuse anything
    return run.ledger.records_in_reach(record, alone) if record is not None and entry.act == EntryAct.TEST else {}


def _leaves_alone(ledger: ReplayLedger, record: PositionRecord, entry: EntryFact) -> bool:
    return ledger.is_undisturbed(record) and not ledger.catalogue.procedures[entry.code].voids
