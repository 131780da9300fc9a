"""A lockout asks for its cause: found or reset, it stands against firing until somebody qualified says why."""

from collections.abc import Iterable, Iterator
from datetime import timedelta
from uuid import UUID

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.fire_side import SPILLS
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.ledger.asked import AskedCause
from fleet.rules.ledger.effects import drop_answered_causes
from fleet.rules.ledger.records import EntryTrace, PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact, as_number
from fleet.rules.vocabulary import EntryAct, Outcome

LOCKOUTS_SEEN = ("lockout_found", "spill_found_tripped")
RESETS = ("reset_pressed", "reset")
CAUSE_NAMED = "cause_found"
WITHIN = timedelta(days=30)  # of a lockout whose cause was looked for in vain, another one is not excused

# Which rung should have acted before the one that was found locked out.
_BEFORE = {"lower_cutoff": "upper_cutoff", "high_limit": "operating_control"}


def find_lockout(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Yield what a device found locked out says: it acted, and the one before it is presumed failed."""
    before, name = _rung_before(ledger, record), record.position.name
    asked = f"The {name} was found locked out, and its cause is not known."
    _ask_for_cause(ledger, visit, entry, record=record, sentence=asked)
    if entry.code == "spill_found_tripped":
        yield FindingCode.SPILL_TRIPPED_FOUND, record, f"Spill or roll-out switch found tripped: {name}."
    elif record.role.code in SPILLS:
        sentence = f"The {name} was found locked out: flue gas has been in the room."
        yield FindingCode.SPILL_TRIPPED_FOUND, record, sentence
    elif before is not None:
        sentence = f"The {name} was found locked out: the {before.position.name} did not act before it."
        yield FindingCode.LOCKOUT_FOUND, before, sentence
    else:
        # Nothing to accuse, and the one that acted is not accused either: only its cause is asked for.
        yield FindingCode.LOCKOUT_CAUSE, record, f"The {name} was found locked out: find the cause."


def _ask_for_cause(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord, sentence: str
) -> None:
    ledger.asked_causes[record.position.id] = AskedCause(record.position.id, entry.at, visit.id, sentence)


def _rung_before(ledger: ReplayLedger, record: PositionRecord) -> PositionRecord | None:
    role = _BEFORE.get(record.role.code)
    return next((r for r in ledger.records.values() if r.role.code == role and r.device), None)


def note_unexplained_reset(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord) -> None:
    """Ask for the cause where a device was reset, nobody said that it had locked out, and no test had tripped it."""
    if entry.code in RESETS and _locks_out(ledger, record) and not _is_explained(ledger, visit, entry):
        sentence = f"The {record.position.name} was reset, and the cause of its lockout is not known."
        _ask_for_cause(ledger, visit, entry, record=record, sentence=sentence)


TRIED = (Outcome.PASS, Outcome.FAIL)  # the device was asked to act, and did or did not
LOOKS_ONLY = frozenset({"ladder_read_back", "flame_signal", "probe_clean_inspect"})  # they trip nothing
UNQUALIFIED_ROLES = ("high_limit", "upper_cutoff", "lower_cutoff", *SPILLS)


def find_unqualified_reset(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Yield that somebody not qualified reset a protection that had acted; after a test of it that is its end."""
    if entry.code not in RESETS or record.role.code not in UNQUALIFIED_ROLES or visit.may_judge_boiler:
        return
    tested = any(_is_test_before(trace, visit, entry) and trace.outcome in TRIED for trace in ledger.trail)
    if not tested:
        sentence = f"The {record.position.name} was reset by somebody who is not qualified for it."
        yield FindingCode.RESET_UNQUALIFIED, record, sentence


def _is_test_before(trace: EntryTrace, visit: VisitFact, entry: EntryFact) -> bool:
    """Return whether a test that could have tripped the device was done there before, in the same visit."""
    return _is_trip_test(trace) and trace.visit.id == visit.id and trace.entry.position == entry.position


# What a test reads of a device that acted. A test that came to nothing tripped it only if one of these says so.
ACTED = frozenset(
    {"burner_stopped", "locked_out", "switch_opened", "fuel_shut", "restarted_by_hand", "stayed_out_until_reset"}
)


def _is_trip_test(trace: EntryTrace) -> bool:
    """Return whether a test asked the device to act, or a test that came to nothing shows that it acted."""
    if trace.entry.act != EntryAct.TEST or trace.entry.code in LOOKS_ONLY:
        return False
    readings = trace.entry.readings
    has_acted = any(readings.get(name) is True for name in ACTED) or (as_number(readings.get("trip_psi")) or 0.0) > 0.0
    return trace.outcome in TRIED or (trace.outcome == Outcome.INCONCLUSIVE and has_acted)


def resets_without_test(traces: Iterable[EntryTrace]) -> list[EntryTrace]:
    """Return the resets among the entries at one place, in order, that end no test; each test is ended by one reset."""
    resets: list[EntryTrace] = []
    tested_in: UUID | None = None
    for trace in traces:
        if _is_trip_test(trace):
            tested_in = trace.visit.id
        elif trace.entry.code in LOCKOUTS_SEEN:
            tested_in = None
        elif trace.entry.code in RESETS:
            resets += [trace] if tested_in != trace.visit.id else []
            tested_in = None
    return resets


def _locks_out(ledger: ReplayLedger, record: PositionRecord) -> bool:
    seen = ledger.catalogue.observations.get("reset_pressed")
    return seen is not None and record.role.code in seen.roles


def _is_explained(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> bool:
    """Return whether what came before at this place explains the reset, newest first.

    An earlier reset does not, nor a lockout whose cause was looked for in vain in a visit that has ended.
    """
    for trace in reversed(ledger.trail):
        if entry.at - trace.entry.at >= WITHIN:
            return False
        if trace.entry.position != entry.position:
            continue
        if trace.entry.code in LOCKOUTS_SEEN:
            cause = ledger.asked_causes.get(trace.entry.position) if trace.entry.position else None
            return cause is None or not cause.is_excused
        if trace.entry.code == CAUSE_NAMED:  # of an earlier lockout it says nothing of this one
            return trace.visit.id == visit.id and visit.may_judge_boiler
        if _is_test_before(trace, visit, entry):
            return True
        if trace.entry.code in RESETS:
            return False
    return False


def note_cause(ledger: ReplayLedger, record: PositionRecord) -> None:
    """Note that somebody qualified named the cause of what was found here."""
    cause = ledger.asked_causes.get(record.position.id)
    if cause is not None:
        cause.is_named = True
        drop_answered_causes(ledger)


def note_search(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord) -> None:
    """Note that somebody qualified looked for the cause of a lockout here and did not find it."""
    cause = ledger.asked_causes.get(record.position.id)
    if cause is not None and not cause.needs_gauge_check:
        cause.searched_by, cause.searched_in = entry.id, visit.id


def excuse_searched_lockouts(ledger: ReplayLedger, visit: VisitFact) -> list[AskedCause]:
    """Excuse, at the end of a visit, lockouts whose cause it looked for in vain; return them.

    Asked for: the device passed its test as found, the rung before it is no longer presumed failed, three smooth cycles
    were watched, and it is the first such lockout in thirty days.
    """
    causes = [c for c in ledger.asked_causes.values() if c.searched_in == visit.id and not c.is_excused]
    if not causes or any(c.rule.code == FindingCode.LOCKOUT_FOUND for c in ledger.open_cases()):
        return []
    of_visit = [t for t in ledger.trail if t.visit.id == visit.id]
    cycled = any(t.entry.code == "three_cycles" and t.outcome == Outcome.PASS for t in of_visit)
    for cause in causes:
        cause.is_excused = (
            cycled and _passed_as_found(ledger, cause, of_visit) and not _locked_out_lately(ledger, cause)
        )
    return [cause for cause in causes if cause.is_excused]


def _passed_as_found(ledger: ReplayLedger, cause: AskedCause, of_visit: list[EntryTrace]) -> bool:
    """Return whether a test of the device passed before anything was done to it or to its paths."""
    record, tests = ledger.records[cause.position], ledger.catalogue.findings[FindingCode.LOCKOUT_CAUSE].clears_by
    places = {record.position.id, *(p.position.id for p in ledger.paths_of(record))}
    for trace in of_visit:
        if trace.entry.position == cause.position and trace.entry.code in tests:
            return trace.outcome == Outcome.PASS
        action = ledger.catalogue.actions.get(trace.entry.code)
        is_work = action.touch != "" if action else trace.entry.act not in (EntryAct.TEST, EntryAct.OBSERVE)
        if is_work and trace.entry.position in places:
            return False
    return False


def _locked_out_lately(ledger: ReplayLedger, cause: AskedCause) -> bool:
    """Return whether the device had locked out before, within the days, in a visit of its own and with no cause."""
    for trace in reversed(ledger.trail):
        if cause.at - trace.entry.at >= WITHIN:
            return False
        if trace.entry.position != cause.position or trace.visit.id == cause.visit:
            continue
        if trace.entry.code == CAUSE_NAMED and trace.visit.may_judge_boiler:
            return False
        if trace.entry.code in (*LOCKOUTS_SEEN, *RESETS):
            return True
    return False
