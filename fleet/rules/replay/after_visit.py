"""What was open, touched, proven and in doubt when a visit ended."""

from dataclasses import replace
from datetime import datetime
from uuid import UUID

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings import (
    close_unplaced_jumpers,
    excuse_searched_lockouts,
    find_left_jumpers,
    find_left_under_lock,
)
from fleet.rules.ledger.asked import OpenQuestion
from fleet.rules.ledger.records import PositionRecord
from fleet.rules.replay.entry_acts import open_finding
from fleet.rules.replay.replay_run import AfterVisit, ReplayRun
from fleet.rules.values import EntryFact, VisitFact
from fleet.rules.vocabulary import Outcome

NEVER_PASSES = "button"  # the grader of a test that says no more when it is conclusive


def end_visit(run: ReplayRun, visit: VisitFact) -> dict[UUID, PositionRecord]:
    """Apply what only the whole visit says. Return the positions whose state of knowledge may have changed."""
    findings_before = len(run.findings)
    _excuse_lockouts(run, visit)
    entries = {e.id: e for e in visit.entries}
    last = max(visit.entries, key=lambda e: (e.at, e.number), default=None)
    close_unplaced_jumpers(run.ledger, visit, last.at if last else visit.at, last.id if last else None)
    for fitted_by, record, sentence in list(find_left_jumpers(run.ledger, visit)):
        entry = entries.get(fitted_by, last) if fitted_by else last
        if entry is not None:
            code = FindingCode.JUMPER_LEFT
            open_finding(
                run,
                visit,
                replace(entry, at=last.at if last else entry.at),
                rule_code=code,
                place=record,
                sentence=sentence,
            )
    if last is not None:
        for rule, record, sentence in list(find_left_under_lock(run.ledger, visit)):
            open_finding(run, visit, last, rule_code=rule, place=record, sentence=sentence)
    return run.ledger.records if len(run.findings) > findings_before else {}


def state_after_visit(run: ReplayRun, visit: VisitFact, at: datetime) -> AfterVisit:
    """Return what the end of a visit left behind; asked when its last entry was replayed."""
    verdicts = run.by_entry
    judged = [(e, verdicts[e.id]) for e in visit.entries if e.id in verdicts and e.position]
    # A pass that nobody present may give proves nothing: it counts neither as looked at nor as conclusive.
    settled_entries = [e for e, v in judged if v.proves or v.outcome == Outcome.FAIL]
    passed = [e for e, v in judged if v.outcome == Outcome.PASS and _may_give(run, visit, e)]
    conclusive = [*settled_entries, *passed]
    unsettled = [e for e, v in judged if v.outcome == Outcome.INCONCLUSIVE and not _is_settled(run, e, conclusive)]
    doubtful = [e for e in unsettled if run.ledger.evidence.procedure_by_code(e.code).judged_by != NEVER_PASSES]
    records = run.ledger.records.values()
    return AfterVisit(
        at=at,
        open_cases=tuple(run.ledger.open_cases()),
        touched=tuple((r.position.id, t.needs) for r in records for t in r.touches.values()),
        inconclusive=tuple(dict.fromkeys(e.position for e in doubtful if e.position)),
        looked_at=frozenset(e.position for e in settled_entries if e.position),
        proven=frozenset(e.position for e, v in judged if e.position and v.proves == "full"),
        passed=frozenset((e.position, e.code) for e, v in judged if e.position and v.outcome == Outcome.PASS),
        owed=tuple(run.ledger.owed.values()),
        questions=tuple(
            OpenQuestion(c.position, c.at, c.sentence, c.is_excused) for c in run.ledger.asked_causes.values()
        ),
    )


def _excuse_lockouts(run: ReplayRun, visit: VisitFact) -> None:
    """Leave a lockout whose cause was looked for in vain open as urgent: it stands against firing no more."""
    entries = {e.id: e for e in visit.entries}
    for cause in excuse_searched_lockouts(run.ledger, visit):
        if cause.searched_by in entries:
            record = run.ledger.records[cause.position]
            sentence = f"The {record.position.name} locked out, and its cause was looked for and not found."
            rule = FindingCode.LOCKOUT_CAUSE
            open_finding(run, visit, entries[cause.searched_by], rule_code=rule, place=record, sentence=sentence)


def _may_give(run: ReplayRun, visit: VisitFact, entry: EntryFact) -> bool:
    """Return whether somebody present may give the good news of a test."""
    return bool(run.ledger.evidence.procedure_by_code(entry.code).who & visit.qualifications)


def _is_settled(run: ReplayRun, entry: EntryFact, conclusive_entries: list[EntryFact]) -> bool:
    """Return whether the same test, or one that covers it, was answered there in the visit."""
    procedure_by_code = run.ledger.evidence.procedure_by_code
    return any(
        e.position == entry.position and procedure_by_code(e.code).covers_or_is(entry.code) for e in conclusive_entries
    )
