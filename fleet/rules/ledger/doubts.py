"""Passes in doubt: what they were read by turned out blind or wrong, so what they had answered is open again."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from math import inf
from uuid import UUID

from fleet.rules.ledger.episodes import EpisodeCase, PassedProof
from fleet.rules.ledger.records import PositionRecord, ReplayLedger


@dataclass(frozen=True, slots=True)
class ReadingDoubt:
    """Why passes are in doubt: of which procedures, since when, from when on, and by which entry that is known.

    `since` is the last good check in the order of entries, None where there was none. `error_psi` is how wrong the
    gauge was found: a pass whose verdict so much cannot change stands.
    """

    codes: frozenset[str]
    since: int | None
    at: datetime
    entry: UUID | None
    error_psi: float = inf

    def concerns_pass(self, passed: PassedProof) -> bool:
        """Return whether the outcome of a pass could have been another one."""
        is_later = self.since is None or passed.order > self.since
        return passed.code in self.codes and is_later and passed.tolerates_psi < self.error_psi


def doubt_passes(ledger: ReplayLedger, records: Iterable[PositionRecord], doubt: ReadingDoubt) -> None:
    """Put passes in doubt and what they answered back; an older sound one may stand."""
    for record in records:
        doubted = [p for p in record.passes if not p.doubtful and doubt.concerns_pass(p)]
        record.passes = [replace(p, doubtful=True) if p in doubted else p for p in record.passes]
        record.proofs = {p.code: p.at for p in record.passes if not p.doubtful}
        for passed in reversed(doubted):  # of two episodes of one rule the newest goes on
            _put_back_answered(ledger, record, passed, doubt)


def _put_back_answered(ledger: ReplayLedger, record: PositionRecord, passed: PassedProof, doubt: ReadingDoubt) -> None:
    """Put back what a pass answered, unless the same test, or one that covers it, passed soundly after it."""
    procedure_by_code = ledger.evidence.procedure_by_code
    later = [p for p in record.passes if p.order > passed.order and not p.doubtful]
    if passed.answered is None or any(procedure_by_code(p.code).covers_or_is(passed.code) for p in later):
        return
    for touch in passed.answered.touches:
        standing = record.touches.get(touch.code, replace(touch, needs=()))
        needs = dict.fromkeys((*standing.needs, *touch.needs))
        record.touches[touch.code] = replace(standing, needs=tuple(needs))
    record.blind = {b.path: b for b in passed.answered.blind} | record.blind
    for case in passed.answered.cases:
        if case.is_open:
            case.passes, case.tested_in = max(0, case.passes - 1), None
        elif case.closed_by == passed.answered.entry or case.tested_in is not None:
            _reopen_case(ledger, case, passed, doubt)


def _reopen_case(ledger: ReplayLedger, case: EpisodeCase, passed: PassedProof, doubt: ReadingDoubt) -> None:
    """Go on with an episode from now: as it was before the pass, whatever had been done about it included."""
    place = ledger.records[case.position] if case.position else None
    if any(c.rule.code == case.rule.code for c in ledger.open_at(place)):
        return  # it was found again since
    test_name = ledger.evidence.procedure_by_code(passed.code).name.lower()
    note = f" The {test_name} that answered it is in doubt."
    reopened = replace(
        case,
        opened_at=doubt.at,
        entry=doubt.entry,
        episode=ledger.episodes[case.position, case.rule.code] + 1,
        sentence=case.sentence.removesuffix(note) + note,
        later=list(case.later),
        passes=max(0, case.passes - 1),
        tested_in=None,
        newest_at=doubt.at,
        closed_at=None,
        closed_by=None,
        is_reopened=True,
    )
    ledger.file_case(place, reopened)
