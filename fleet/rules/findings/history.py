"""Findings that take more than one entry: they look back over what was done before."""

from collections.abc import Iterator
from datetime import timedelta

from fleet.rules.catalogue import Contradiction
from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.fire_side import find_joined_dangers
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.findings.lockouts import RESETS, find_unqualified_reset, note_unexplained_reset, resets_without_test
from fleet.rules.findings.locks import find_fired_under_lock
from fleet.rules.findings.makeup import find_makeup_rise
from fleet.rules.findings.pressure_seen import find_pressure_faults
from fleet.rules.findings.water_seen import find_feed_into_hot, find_level_faults
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.ledger.records import EntryTrace, PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, Level, VisitFact
from fleet.rules.vocabulary import WORK_ACTS, EntryAct

DAY, MONTH, SEASON = timedelta(hours=24), timedelta(days=30), timedelta(days=365)


def find_in_history(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Yield (rule, place, sentence) for what an entry means together with those before it (`ledger.trail`)."""
    yield from _find_contradictions(ledger, entry, record)
    yield from find_feed_into_hot(ledger, visit, entry)
    yield from find_fired_under_lock(ledger, visit, entry, record)
    yield from find_joined_dangers(ledger, entry)
    if record is None:
        return
    yield from _find_frequent_resets(ledger, visit, entry, record)
    note_unexplained_reset(ledger, visit, entry, record)
    yield from find_unqualified_reset(ledger, visit, entry, record)
    yield from find_pressure_faults(ledger, visit, entry, record)
    yield from find_level_faults(ledger, visit, entry, record)
    yield from _find_frequent_lockouts(ledger, entry, record)
    for place in (record, *ledger.paths_of(record)):
        yield from _find_repeats(entry, place)
    yield from find_makeup_rise(ledger, entry, record)


def _find_contradictions(ledger: ReplayLedger, entry: EntryFact, record: PositionRecord | None) -> Iterator[FoundFault]:
    now = _entry_label(entry, ledger.outcomes.get(entry.id, ""))
    for row in ledger.catalogue.contradicted_by(now):
        other_label = row.second if now == row.first else row.first
        if any(_does_clash(row, other_label, trace, entry) for trace in _traces_since_work(ledger, entry, row)):
            yield FindingCode.CONTRADICTION, record, row.sentence


def _entry_label(entry: EntryFact, outcome: str) -> str:
    return entry.code if entry.act == EntryAct.OBSERVE else f"{entry.code}:{outcome}"


def _traces_since_work(ledger: ReplayLedger, entry: EntryFact, row: Contradiction) -> list[EntryTrace]:
    """Return the entries within the window, newest first, back to the last work on a device."""
    traces = []
    for trace in reversed(ledger.trail):
        if entry.at - trace.entry.at > timedelta(minutes=row.window_minutes) or trace.entry.act in WORK_ACTS:
            break
        traces.append(trace)
    return traces


def _does_clash(row: Contradiction, other_label: str, trace: EntryTrace, entry: EntryFact) -> bool:
    same = not row.same_place or trace.entry.position == entry.position
    return same and _entry_label(trace.entry, trace.outcome) == other_label


def _find_frequent_resets(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Yield resets pressed twice in 24 hours or three times in 30 days without a cause. A jumper tends to follow.

    A reset that ends a test of the device is none of them.
    """
    if entry.code not in RESETS:
        return
    month = [*_traces_at_position(ledger, entry, MONTH)]
    resets = resets_without_test([*reversed(month), EntryTrace(visit, entry, "")])
    if not resets or resets[-1].entry is not entry:
        return
    day = [t for t in resets if entry.at - t.entry.at < DAY]
    if len(day) >= 2 or len(resets) >= 3:
        rule = FindingCode.RESETS_FLAME if record.role.code == "flame_safeguard" else FindingCode.RESETS_WITHOUT_CAUSE
        yield rule, record, f"The reset of the {record.position.name} was pressed again without a cause found."


def _find_frequent_lockouts(ledger: ReplayLedger, entry: EntryFact, record: PositionRecord) -> Iterator[FoundFault]:
    if entry.code != "lockout_found":
        return
    before, name = [*_traces_at_position(ledger, entry, MONTH)], record.position.name
    if sum(t.entry.code == "lockout_found" for t in before) >= 2:
        yield FindingCode.LOCKOUTS_WITHOUT_CAUSE, record, f"The {name} locked out three times in 30 days."
    if record.role.code in ("lower_cutoff", "high_limit") and resets_without_test(reversed(before)):
        sentence = f"The {name} locked out again after a reset without a cause found."
        yield FindingCode.RESETS_WITHOUT_CAUSE, record, sentence


def _traces_at_position(ledger: ReplayLedger, entry: EntryFact, window: timedelta) -> Iterator[EntryTrace]:
    """Yield the entries at this position within the window, newest first, back to the last cause found."""
    for trace in reversed(ledger.trail):
        if entry.at - trace.entry.at >= window:
            return
        if trace.entry.position == entry.position:
            # Good news counts only from somebody qualified.
            if trace.entry.code == "cause_found" and trace.visit.may_judge_boiler:
                return
            yield trace


def _find_repeats(entry: EntryFact, record: PositionRecord) -> Iterator[FoundFault]:
    """Yield faults found again on the same device within a season of their proven repair."""
    for case in record.open_cases():
        earlier = [c for c in record.cases if c.rule.code == case.rule.code and c is not case]
        is_new = case.entry == entry.id and case.opened_at == entry.at and not case.is_reopened
        if is_new and _within_a_season(case, earlier):
            rule = FindingCode.REPEAT_ROUTINE if case.level is Level.ROUTINE else FindingCode.REPEAT_URGENT
            yield rule, record, f"Again within a season of its repair: {case.sentence} Find the root cause."


def _within_a_season(case: EpisodeCase, earlier: list[EpisodeCase]) -> bool:
    if case.rule.recurs or case.presumed:
        return False
    closed = [c.closed_at for c in earlier if c.closed_at and c.device == case.device]
    return any(case.opened_at - at <= SEASON for at in closed)
