"""Jumpers that stay on when a visit ends: a hold on whatever they bridge, however the boiler was left."""

from collections.abc import Iterator
from datetime import datetime
from uuid import UUID

from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import VisitFact

LeftJumper = tuple[UUID | None, PositionRecord | None, str]  # the entry that fitted it, its place, the sentence

FITTED, TAKEN_OFF = "jumper_fitted", "jumper_removed"
ON_CALL = "jumper_on_call"  # on the call for heat and nowhere else: no safety device is bridged

UNPLACED = "Jumpers or test leads were left on, and nobody said where: only a qualified leaving check ends it."


def note_jumper(record: PositionRecord, code: str, entry: UUID) -> None:
    """Note that a jumper was fitted here or taken off."""
    if code in (FITTED, TAKEN_OFF):
        record.jumper = entry if code == FITTED else None


def find_left_jumpers(ledger: ReplayLedger, visit: VisitFact) -> Iterator[LeftJumper]:
    """Yield the jumpers that a visit left on: said so at leaving, or fitted in it and never taken off.

    The leaving check that they are off takes them off. A check answered no that names no place and is not of the call
    for heat alone may be about any device.
    """
    answer, entries = visit.leaving_checks.get("jumpers_off"), {e.id for e in visit.entries}
    # A neighbor's visit speaks here of the jumpers that it fitted on shared places.
    on = [r for r in ledger.records.values() if r.jumper and (visit.of_this_boiler or r.jumper in entries)]
    if answer is True:
        for record in on:
            record.jumper = None
        return
    for record in on:
        if answer is False or record.jumper in entries:
            yield record.jumper, record, f"A jumper was left on the {record.position.name}."
    if answer is False and not on and visit.of_this_boiler and not any(e.code == ON_CALL for e in visit.entries):
        yield None, None, UNPLACED


def close_unplaced_jumpers(ledger: ReplayLedger, visit: VisitFact, at: datetime, entry: UUID | None) -> None:
    """Close the hold on jumpers that nobody placed where somebody qualified says at leaving that they are off.

    No test does: a device that passes is not the one that is bridged, and nobody knows which that is.
    """
    is_off = visit.of_this_boiler and visit.leaving_checks.get("jumpers_off") is True
    if is_off and visit.may_judge_boiler:
        for case in ledger.open_at(None):
            if case.rule.code == FindingCode.JUMPER_LEFT:
                case.closed_at, case.closed_by = at, entry
