"""What an entry does to the records: opens episodes, voids proofs, renews them, clears failures."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from fleet.rules.catalogue import Procedure
from fleet.rules.ledger import Bench, Blind, Case, Ledger, Pass, Record, Touch
from fleet.rules.values import Entry, Level

PASSES_TO_TRUST = 3  # an intermittent device must pass this often running, its cause recorded


def open_case(ledger: Ledger, rule_code: str, place: Record | None, entry: Entry, sentence: str) -> Case:
    """Open an episode, or renew the open one of the same rule: whatever was done before did not help."""
    case = begin_case(ledger, rule_code, place, entry.at, entry.id, sentence)
    if entry.act == "test":
        # All of them: a weaker test that fails again must not make the weaker one enough.
        case.found_by |= {entry.code}
    rule = case.rule
    case.down, case.presumed = rule.fails != "none", rule.fails == "presumed"
    case.acted_at, case.passes, case.touched, case.replaced = None, 0, False, False
    if rule.fails == "path" and place is not None:
        _blind_all_on(ledger, place, entry.at)
    return case


def begin_case(
    ledger: Ledger, rule_code: str, place: Record | None, at: datetime, entry: UUID | None, sentence: str
) -> Case:
    """Return the open episode of a rule at a place, or begin the next one."""
    rule, cases = ledger.catalogue.findings[rule_code], ledger.cases_at(place)
    case = next((c for c in cases if c.is_open and c.rule.code == rule_code), None)
    if case is None:
        earlier = sum(c.rule.code == rule_code for c in cases)
        position = place.position.id if place else None
        case = Case(rule, position, at, entry, sentence, frozenset(), False, earlier + 1, Level(rule.level))
        cases.append(case)
    return case


def doubt(records: Iterable[Record], since: datetime | None, codes: frozenset[str]) -> None:
    """Put passes in doubt that were read by something found blind or wrong; an older sound one may stand."""
    for record in records:
        record.passes = [
            replace(p, doubtful=True) if p.code in codes and (since is None or p.at > since) else p
            for p in record.passes
        ]
        record.proofs = {p.code: p.at for p in record.passes if not p.doubtful}


def _blind_all_on(ledger: Ledger, path: Record, at: datetime) -> None:
    for record in ledger.hanging_on(path):
        record.blind[path.position.id] = Blind(path.position.id, at)


def touch(ledger: Ledger, record: Record, code: str, entry: Entry) -> None:
    """Void the proof of the device, or of everything on the path, until what its kind names for it passes."""
    void(ledger, record, code, entry.at, entry.id)
    if record.role.part == "input_path":
        for hanging in ledger.hanging_on(record):
            void(ledger, hanging, "path", entry.at, entry.id)


def void(ledger: Ledger, record: Record, code: str, at: datetime, entry: UUID | None) -> None:
    """Void one position's proof where its kind names what must pass after this touch."""
    rule = ledger.catalogue.touches.get((record.kind, code))
    if rule is not None:
        record.touches[code] = Touch(code, at, entry, rule.needs)
        for case in record.open_cases():
            case.touched = True  # no pass after this is one as found


def repair(ledger: Ledger, record: Record, at: datetime, opened: bool) -> None:
    """Note that something was done: on the device, for all that hangs on it, and if opened on the chamber it sits in.

    Adjusting a switch does nothing to fouled pipes.
    """
    here = [record, *ledger.hanging_on(record)]
    here += [p for p in ledger.paths_of(record) if opened and p.role.code == "float_chamber"]
    for place in here:
        for case in place.open_cases():
            case.acted_at, case.passes = at, 0
    for hanging in ledger.hanging_on(record):
        blind = hanging.blind.get(record.position.id)
        if blind is not None:
            hanging.blind[record.position.id] = Blind(blind.path, blind.at, acted=True)


def passed(bench: Bench, proves: str, against: frozenset[str]) -> bool:
    """Apply a pass. False, and nothing changes, when nobody present may give this good news.

    `against` are the rules this same test fires: what it found again it does not clear.
    """
    record, procedure, entry = bench.record, bench.procedure, bench.entry
    allowed = procedure.who & bench.visit.qualifications
    if not allowed:
        return False
    if proves:
        record.passes.append(Pass(procedure.code, entry.at))
        record.proofs[procedure.code] = entry.at
        record.last_trip_in = _trip_in(bench)
    for code, outstanding in list(record.touches.items()):
        if any(procedure.covers_or_is(need) for need in outstanding.needs):
            del record.touches[code]
    if proves == "full":
        record.blind = {k: b for k, b in record.blind.items() if not b.acted}
    # A caretaker's pass renews operator proofs; it closes nothing above routine.
    qualified = bool(allowed - {"operator"})
    for case in _answered(bench, against):
        if case.level is Level.ROUTINE or qualified:
            _pass_against(case, entry)
    return True


def _trip_in(bench: Bench) -> float | None:
    height = bench.number("trip_in")
    return bench.record.last_trip_in if height is None else height


def _answered(bench: Bench, against: frozenset[str]) -> list[Case]:
    """The open episodes, of the position and of the paths it hangs on, that a pass of this procedure speaks to."""
    own, paths = bench.record, bench.ledger.paths_of(bench.record)
    found = [c for c in own.open_cases() if _answers(c, bench.procedure, True)]
    found += [c for path in paths for c in path.open_cases() if _answers(c, bench.procedure, False)]
    found += [c for c in bench.ledger.general if c.is_open and _answers(c, bench.procedure, False)]
    return [c for c in found if c.rule.code not in against]


def _answers(case: Case, procedure: Procedure, own: bool) -> bool:
    """Same procedure, one that covers it, or one the rule names: never a weaker one."""
    if case.rule.code == "contradiction" and not case.cause_known:
        return False  # first somebody qualified says which of the two is wrong
    if case.replaced:
        return own and procedure.proof == "full"  # a new device answers for the old one's failure by its full proof
    if case.rule.clears_by:
        return any(procedure.covers_or_is(code) for code in case.rule.clears_by)
    return own and bool(case.found_by) and all(procedure.covers_or_is(code) for code in case.found_by)


def _pass_against(case: Case, entry: Entry) -> None:
    case.passes += 1
    as_found = case.presumed and case.acted_at is None and not case.touched
    trusted = case.cause_known and case.passes >= PASSES_TO_TRUST
    if case.acted_at is not None or as_found or trusted or not case.down:
        case.closed_at, case.closed_by = entry.at, entry.id


def occupy(ledger: Ledger, record: Record, device: UUID | None, kind: str, at: datetime) -> None:
    """Put a device in, or empty the position: a new record starts, the old failures no longer put this one down."""
    record.device, record.kind, record.fitted_at = device, kind, at if device else None
    record.passes, record.proofs, record.declared, record.touches, record.blind = [], {}, {}, {}, {}
    record.attributes, record.settings, record.last_trip_in = {}, {}, None
    repair(ledger, record, at, opened=True)
    for case in record.open_cases():
        case.down, case.replaced = False, device is not None
