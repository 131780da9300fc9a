"""What the good news of a paper may do: to end a hold or a tag it needs the device's serial and a second name."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import chain
from uuid import UUID

from fleet.rules.ledger.episodes import EpisodeCase, WaitingGoodNews
from fleet.rules.ledger.records import GradingBench, PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, Level, VisitFact
from fleet.rules.vocabulary import OCCUPANT_ACTS, SERIAL, normalize_serial

CARRYING_PARTS = ("protection", "input_path", "output_path")  # whose failure may leave a hazard without protection


def serial_on_record(ledger: ReplayLedger, record: PositionRecord) -> str:
    """Return the serial of the device that fills the place, as last put on record while it filled it; '' for none.

    A serial says which device it is, not what was so from some day on. So it holds for the device's whole stay, also
    where it came on record later.
    """
    begin, end = record.fitted_at, _end_of_stay(ledger, record)
    written = [
        (setting.since, str(setting.value))
        for setting in ledger.evidence.settings
        if setting.position == record.position.id and setting.key == SERIAL
        if (begin is None or setting.since >= begin) and (end is None or setting.since < end)
    ]
    stamped = record.attributes.get(SERIAL)
    return max(written)[1] if written else str(stamped or "")


def _end_of_stay(ledger: ReplayLedger, record: PositionRecord) -> datetime | None:
    """Return when, after the device that fills the place now, another one does or none; None if it stays."""
    fittings = (f.since for f in ledger.evidence.fittings if f.position == record.position.id)
    entries = (e for v in ledger.evidence.visits for e in v.entries if e.act in OCCUPANT_ACTS)
    swaps = (e.at for e in entries if e.position == record.position.id and e.device != record.device)
    return min((at for at in chain(fittings, swaps) if record.fitted_at and at > record.fitted_at), default=None)


def waits_for_second(bench: GradingBench, cases: Iterable[EpisodeCase], clears_blind: bool) -> bool:
    """Return whether a pass on a paper changes nothing yet: it is of another device, or lacks what ends a hold.

    `cases` are those the pass would answer; with `clears_blind` it lets a device see behind a cleared path. What waits
    is noted on the ledger.
    """
    if bench.visit.paper is None:
        return False
    waits = WaitingGoodNews(
        _lacks_for_hold(bench),
        bench.ledger.entry_order,
        cases=tuple(c for c in cases if _may_be_hold(bench.ledger, c)),
        blinded=tuple(b for b in bench.record.blind.values() if b.acted) if clears_blind else (),
        place=bench.record.position.id,
        proves_alone=_ends_bare_hold(bench.ledger, bench.record),
    )
    ends_hold = bool(waits.cases or waits.blinded or waits.proves_alone)
    if ends_hold:
        note_waiting_paper(bench.ledger, bench.visit, waits)
    return bool(waits.lacks and ends_hold) or _is_of_other_device(bench)


def explain_no_proof(bench: GradingBench) -> str:
    """Return why a pass renews and clears nothing, as a sentence."""
    paper = bench.visit.paper
    if paper is None and any(name.qualifications & bench.procedure.who for name in bench.visit.unconfirmed):
        return "Who may prove it is named and has not seconded the visit: until then it renews and clears nothing."
    if paper is None:
        return "Nobody present may prove it: it renews and clears nothing."
    if paper.body not in bench.procedure.who:
        return f"It is not for the body of this paper ({paper.name}) to prove: it renews and clears nothing."
    if _is_of_other_device(bench):
        return f"{_other_serial(bench)} It renews and clears nothing."
    waits = "That is the paper's word and does not count yet: it would end a hold, and waits."
    return " ".join((waits, *_lacks_for_hold(bench)))


def note_waiting_paper(ledger: ReplayLedger, visit: VisitFact, waits: WaitingGoodNews) -> None:
    """Note that good news of a paper waits, beside what else of it waits already."""
    if waits.lacks:
        ledger.waiting_papers.setdefault(visit.id, []).append(waits)


def papers_that_wait(ledger: ReplayLedger) -> Iterator[tuple[UUID, tuple[str, ...]]]:
    """Yield the papers that wait still, with what each lacks; what others ended since waits for nothing more."""
    for visit, good_news in sorted(ledger.waiting_papers.items()):
        lacks = dict.fromkeys(s for waits in good_news if _would_end_more(ledger, waits) for s in waits.lacks)
        if lacks:
            yield visit, tuple(lacks)


def _would_end_more(ledger: ReplayLedger, waits: WaitingGoodNews) -> bool:
    record = ledger.records.get(waits.place) if waits.place else None
    if any(_is_open_still(ledger, case) for case in waits.cases):
        return True
    if record is None:
        return False
    is_blind = any(b.path == w.path and b.at == w.at for b in record.blind.values() for w in waits.blinded)
    return is_blind or (waits.proves_alone and not _is_proven_since(ledger, record, waits.order))


def _is_open_still(ledger: ReplayLedger, case: EpisodeCase) -> bool:
    """Return whether an episode is open, or the one that goes on from it: the pass that had closed it is in doubt."""
    record = ledger.records.get(case.position) if case.position else None
    same_rule = (c for c in ledger.open_at(record) if c.rule.code == case.rule.code)
    return any(c is case or c.is_reopened for c in same_rule)


def _is_proven_since(ledger: ReplayLedger, record: PositionRecord, order: int) -> bool:
    passes = [p for p in record.passes if p.order > order and not p.doubtful]
    return any(ledger.evidence.procedure_by_code(p.code).proof == "full" for p in passes)


def lacks_to_lift_tag(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> tuple[str, ...]:
    """Return what the paper lacks to lift a tag of its body from the boiler; nothing where the body itself was there.

    A tag hangs on the boiler as a whole: its serial is that of the boiler's body.
    """
    if visit.paper is None:
        return ()
    bodies = [r for r in ledger.records.values() if r.role.code == "boiler_body" and r.device]
    body = next((r for r in bodies if _is_same_serial(ledger, entry, r)), bodies[0] if bodies else None)
    return tuple(_lacks_of_paper(ledger, visit, entry, record=body, name="boiler"))


def _lacks_for_hold(bench: GradingBench) -> tuple[str, ...]:
    return tuple(_lacks_of_paper(bench.ledger, bench.visit, bench.entry, record=bench.record, name=bench.name))


def _lacks_of_paper(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, *, record: PositionRecord | None, name: str
) -> Iterator[str]:
    """Yield what is missing for a paper to end a hold, as sentences."""
    on_record = serial_on_record(ledger, record) if record else ""
    if not normalize_serial(entry.values.get(SERIAL)):
        yield f"The paper does not give the serial of the {name}."
    elif not normalize_serial(on_record):
        yield f"The register does not have the serial of the {name}."
    elif record is None or not _is_same_serial(ledger, entry, record):
        yield f"The paper is of serial {entry.values.get(SERIAL)}, and the register has {on_record} for the {name}."
    if not visit.seconded:
        yield "No second qualified person stands behind the paper."


def _is_same_serial(ledger: ReplayLedger, entry: EntryFact, record: PositionRecord) -> bool:
    return normalize_serial(entry.values.get(SERIAL)) == normalize_serial(serial_on_record(ledger, record)) != ""


def _is_of_other_device(bench: GradingBench) -> bool:
    """Return whether the paper names a serial and the register another one here."""
    on_paper = normalize_serial(bench.entry.values.get(SERIAL))
    on_record = normalize_serial(serial_on_record(bench.ledger, bench.record))
    return bool(on_paper and on_record and on_paper != on_record)


def _other_serial(bench: GradingBench) -> str:
    on_record = serial_on_record(bench.ledger, bench.record)
    return f"The paper is of serial {bench.entry.values.get(SERIAL)}, and the register has {on_record} here."


def _may_be_hold(ledger: ReplayLedger, case: EpisodeCase) -> bool:
    """Return whether closing this episode may end a hold: by its class, now or later, or by what it puts down."""
    levels = {case.level, *(level for _, level in case.later)}
    record = ledger.records.get(case.position) if case.position else None
    return Level.HOLD in levels or (case.down and record is not None and record.role.part in CARRYING_PARTS)


def _ends_bare_hold(ledger: ReplayLedger, record: PositionRecord) -> bool:
    """Return whether another protection against the same hazard is down or missing.

    Then this proof may be all that the boiler's hold hangs on, whatever its own episodes are.
    """
    if record.role.part != "protection":
        return False
    same = [r for r in ledger.records.values() if r is not record and r.role.hazard == record.role.hazard]
    others = [r for r in same if r.role.part == "protection" and ledger.is_needed(r)]
    return any(not r.device or r.blind or _is_down(ledger, r) for r in others)


def _is_down(ledger: ReplayLedger, record: PositionRecord) -> bool:
    return any(c.down for place in (record, *ledger.paths_of(record)) for c in place.open_cases())
