"""Passes in doubt: what they were read by turned out blind or wrong, so what they had answered is open again."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from math import inf
from uuid import UUID

from fleet.engineering.last_places import compare
from fleet.rules.ledger.episodes import CalibrationNeed, EpisodeCase, PassedProof
from fleet.rules.ledger.records import PositionRecord, ReplayLedger

FOUND_WRONG = "what it was read by was found wrong"


@dataclass(frozen=True, slots=True)
class ReadingDoubt:
    """Why passes are in doubt: of which procedures, since when, from when on, and by which entry that is known.

    `since` is the last good check in the order of entries, None where there was none. `error_psi` is how wrong the
    gauge was found: a pass whose verdict so much cannot change stands. `why` ends the sentence "It passed, but …".
    """

    codes: frozenset[str]
    since: int | None
    at: datetime
    entry: UUID | None
    error_psi: float = inf
    why: str = FOUND_WRONG

    def concerns_pass(self, proof: PassedProof) -> bool:
        """Return whether the outcome of a pass could have been another one."""
        is_changed = compare(proof.tolerates_psi, self.error_psi, "psi") < 0
        return proof.code in self.codes and self.is_later(proof) and is_changed

    def is_later(self, proof: PassedProof) -> bool:
        """Return whether a pass came after the last good check."""
        return self.since is None or proof.order > self.since


def doubt_passes(ledger: ReplayLedger, records: Iterable[PositionRecord], doubt: ReadingDoubt) -> None:
    """Put passes in doubt and what they answered back; an older sound one may stand."""
    for record in records:
        doubted = _mark_doubted(record, doubt)
        if doubted:
            record.proofs = {p.code: p.at for p in record.passes if not p.doubtful}
            _take_back_calibrations(ledger, record, doubted, doubt)
            _put_back_answered(ledger, record, doubted, doubt)


def _mark_doubted(record: PositionRecord, doubt: ReadingDoubt) -> set[int]:
    """Mark the passes of a place that are in doubt from now on, and return where they stand in its list."""
    doubted: set[int] = set()
    for index in range(len(record.passes) - 1, -1, -1):
        proof = record.passes[index]
        if not doubt.is_later(proof):
            break  # passes stand in the order of their entries
        if not proof.doubtful and doubt.concerns_pass(proof):
            record.passes[index] = replace(proof, doubt=doubt.why)
            doubted.add(index)
    return doubted


def _take_back_calibrations(
    ledger: ReplayLedger, record: PositionRecord, doubted: set[int], doubt: ReadingDoubt
) -> None:
    """Take a calibration in doubt from the sound passes that rest on it, and put back what it let them answer."""
    orders = {record.passes[index].order for index in doubted}
    for index, proof in enumerate(record.passes):
        need = proof.calibration
        if need is None or need.order not in orders or proof.doubtful:
            continue
        record.passes[index] = replace(proof, calibration=CalibrationNeed(need.rules))
        for case in proof.answered.cases if proof.answered else []:
            if case.rule.code in need.rules:
                _put_back_case(ledger, case, proof, doubt)


def _put_back_answered(ledger: ReplayLedger, record: PositionRecord, doubted: set[int], doubt: ReadingDoubt) -> None:
    """Put back what each of these passes answered, unless a later sound one of its test answers it as well.

    The newest comes first: of two episodes of one rule the newest goes on.
    """
    later_sound: dict[str, list[PassedProof]] = {}  # by procedure; of those alike in what they may answer the newest
    for index in range(len(record.passes) - 1, min(doubted) - 1, -1):
        proof = record.passes[index]
        if index in doubted:
            _put_back_pass(ledger, record, proof, doubt=doubt, later_sound=later_sound)
        elif not proof.doubtful:
            alike = later_sound.setdefault(proof.code, [])
            if all(p.calibration != proof.calibration for p in alike):
                alike.append(proof)


def _put_back_pass(
    ledger: ReplayLedger,
    record: PositionRecord,
    proof: PassedProof,
    doubt: ReadingDoubt,
    later_sound: dict[str, list[PassedProof]],
) -> None:
    """Put back what one pass in doubt had answered and no later sound one, of its test or one that covers it, does."""
    if proof.answered is None:
        return
    procedure_by_code = ledger.evidence.procedure_by_code
    codes = [code for code in later_sound if procedure_by_code(code).covers_or_is(proof.code)]
    covering = [later for code in codes for later in later_sound[code]]
    if not covering:
        for touch in proof.answered.touches:
            standing = record.touches.get(touch.code, replace(touch, needs=()))
            needs = dict.fromkeys((*standing.needs, *touch.needs))
            record.touches[touch.code] = replace(standing, needs=tuple(needs))
        record.blind = {b.path: b for b in proof.answered.blind} | record.blind
    for case in proof.answered.cases:
        if not any(later.may_answer(case) for later in covering):
            _put_back_case(ledger, case, proof, doubt)


def _put_back_case(ledger: ReplayLedger, case: EpisodeCase, proof: PassedProof, doubt: ReadingDoubt) -> None:
    """Count the pass no longer where an episode is open still, and go on with one that it closed."""
    if case.is_open:
        case.passes, case.tested_in = max(0, case.passes - 1), None
    elif case.closed_by == (proof.answered and proof.answered.entry) or case.tested_in is not None:
        _reopen_case(ledger, case, proof, doubt)


def _reopen_case(ledger: ReplayLedger, case: EpisodeCase, proof: PassedProof, doubt: ReadingDoubt) -> None:
    """Go on with an episode from now: as it was before the pass, whatever had been done about it included."""
    place = ledger.records[case.position] if case.position else None
    if any(c.rule.code == case.rule.code for c in ledger.open_at(place)):
        return  # it was found again since
    test_name = ledger.evidence.procedure_by_code(proof.code).name.lower()
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
