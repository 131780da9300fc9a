"""Firing that was proved after power or fuel was locked off, with no word that it was unlocked."""

from collections.abc import Iterator

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.burner_words import SHUT_OFF, proves_firing
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.ledger.asked import LockOn
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact
from fleet.rules.vocabulary import LEFT_FIRING, ArrivalState
from fleet.rules.wording import local_day

UNLOCK = "unlock"


def note_lock(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord) -> None:
    """Note that power or fuel was locked off, or unlocked. A neighbor's visit leaves a lock of this boiler as it is."""
    lock = ledger.lock
    if lock is not None and not lock.is_of_neighbor and not visit.of_this_boiler:
        return
    if entry.code in SHUT_OFF:
        ledger.lock = LockOn(visit.id, entry.at, record.position.id, is_of_neighbor=not visit.of_this_boiler)
    elif entry.code == UNLOCK:
        ledger.lock = None


def doubt_of_lock(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> str:
    """Return what a test that needs the burner asks while a lock is on, "" if nothing: its pass is inconclusive."""
    lock = ledger.lock
    if lock is None or not visit.of_this_boiler or not proves_firing(entry):
        return ""
    if lock.is_accused and lock.visit != visit.id:
        return ""
    return "Power or fuel was locked off before, and no entry says that it was unlocked: which is right?"


def find_fired_under_lock(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Yield that the burner fired, or the boiler was found firing, under the lock of another visit."""
    if proves_firing(entry):
        yield from _accuse_lock(ledger, visit, record)
    elif visit.state_on_arrival == ArrivalState.FIRING:
        yield from _accuse_lock(ledger, visit, None)


def find_left_under_lock(ledger: ReplayLedger, visit: VisitFact) -> Iterator[FoundFault]:
    """Yield that a visit left the boiler firing, or on call, under the lock of another."""
    if visit.left_as in LEFT_FIRING:
        yield from _accuse_lock(ledger, visit, None)


def _accuse_lock(ledger: ReplayLedger, visit: VisitFact, record: PositionRecord | None) -> Iterator[FoundFault]:
    """Yield the contradiction, once a lock: where the fire was proved, else where the lock hangs."""
    lock = ledger.lock
    if lock is None or lock.is_accused or lock.visit == visit.id or not visit.of_this_boiler:
        return
    lock.is_accused = True
    day = local_day(lock.at, ledger.evidence.zone)
    sentence = f"Power or fuel was locked off on {day} and not said to be unlocked: the burner can't have fired."
    yield FindingCode.CONTRADICTION, record or ledger.records[lock.place], sentence
