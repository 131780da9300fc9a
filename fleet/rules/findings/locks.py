"""Firing that was proved after power or fuel was locked off, with no word that it was unlocked."""

from collections.abc import Iterator

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.burner_words import proves_firing
from fleet.rules.ledger.asked import LockOn
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact
from fleet.rules.vocabulary import ArrivalState
from fleet.rules.wording import local_day

FoundFault = tuple[str, PositionRecord | None, str]

LOCKS, UNLOCK = ("lock_off", "shut_fuel"), "unlock"


def note_lock(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> None:
    """Note that power or fuel was locked off, or unlocked."""
    if entry.code in LOCKS:
        ledger.lock = LockOn(visit.id, entry.at)
    elif entry.code == UNLOCK:
        ledger.lock = None


def doubt_of_lock(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> str:
    """Return what a test that needs the burner asks while a lock is on, "" if nothing: its pass is inconclusive."""
    lock = ledger.lock
    if lock is None or not proves_firing(entry) or (lock.is_accused and lock.visit != visit.id):
        return ""
    return "Power or fuel was locked off before, and no entry says that it was unlocked: which is right?"


def find_fired_under_lock(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Yield that the burner fired under the lock of another visit, once a lock."""
    lock = ledger.lock
    if lock is None or lock.is_accused or lock.visit == visit.id:
        return
    was_firing = visit.of_this_boiler and visit.state_on_arrival == ArrivalState.FIRING
    if proves_firing(entry) or was_firing:
        lock.is_accused = True
        day = local_day(lock.at, ledger.evidence.zone)
        sentence = f"Power or fuel was locked off on {day} and not said to be unlocked: the burner can't have fired."
        yield FindingCode.CONTRADICTION, record, sentence
