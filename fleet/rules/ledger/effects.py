"""What an entry does to the records: opens episodes, voids proofs, renews them, clears failures."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from math import inf
from uuid import UUID

from fleet.engineering.last_places import compare
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.asked import BlindedByPath, OwedTest
from fleet.rules.ledger.papers_of_others import waits_for_second
from fleet.rules.ledger.records import (
    EpisodeCase,
    GradingBench,
    OutstandingTouch,
    PassedProof,
    PositionRecord,
    ReplayLedger,
)
from fleet.rules.values import EntryFact, Level, as_number
from fleet.rules.vocabulary import EntryAct

GAUGE_CHECK = "gauge_comparison"
PASSES_TO_TRUST = 3  # an intermittent device must pass this often running, its cause recorded


def open_case(
    ledger: ReplayLedger, rule_code: str, place: PositionRecord | None, entry: EntryFact, sentence: str
) -> EpisodeCase:
    """Open an episode, or renew the open one of the same rule: whatever was done before did not help."""
    case = begin_case(ledger, rule_code, place=place, at=entry.at, entry=entry.id, sentence=sentence)
    if entry.act == EntryAct.TEST:
        # All of them: a weaker test that fails again must not make the weaker one enough.
        case.found_by |= {entry.code}
    rule = case.rule
    case.down, case.presumed = rule.fails != "none", rule.fails == "presumed"
    case.acted_at, case.passes, case.touched, case.replaced = None, 0, False, False
    case.tested_in = None
    case.newest_at = entry.at
    carries = place is not None and place.role.part in ("input_path", "output_path")
    # A jumper or a failed test on a path defeats what it carries as surely as dirt in it; a presumption does not.
    if place is not None and (rule.fails == "path" or (rule.fails == "device" and carries)):
        _blind_all_on(ledger, place, entry.at)
    return case


def begin_case(
    ledger: ReplayLedger, rule_code: str, place: PositionRecord | None, at: datetime, entry: UUID | None, sentence: str
) -> EpisodeCase:
    """Return the open episode of a rule at a place, or begin the next one."""
    rule, position = ledger.catalogue.findings[rule_code], place.position.id if place else None
    case = next((c for c in ledger.open_at(place) if c.rule.code == rule_code), None)
    if case is None:
        number = ledger.episodes.get((position, rule_code), 0) + 1
        case = EpisodeCase(
            rule,
            position,
            opened_at=at,
            entry=entry,
            sentence=sentence,
            found_by=frozenset(),
            down=False,
            episode=number,
            level=Level(rule.level),
            device=place.device if place else None,
        )
        ledger.file_case(place, case)
    return case


def doubt_passes(
    records: Iterable[PositionRecord], since: int | None, codes: frozenset[str], error_psi: float = inf
) -> None:
    """Put passes in doubt that were read by something found blind or wrong; an older sound one may stand.

    `error_psi` is how wrong it was found: a pass whose verdict so much cannot change stands.
    """
    for record in records:
        record.passes = [
            replace(p, doubtful=True)
            if p.code in codes and (since is None or p.order > since) and p.tolerates_psi < error_psi
            else p
            for p in record.passes
        ]
        record.proofs = {p.code: p.at for p in record.passes if not p.doubtful}


def _blind_all_on(ledger: ReplayLedger, path: PositionRecord, at: datetime) -> None:
    for record in ledger.hanging_on(path):
        record.blind[path.position.id] = BlindedByPath(path.position.id, at)


def apply_touch(ledger: ReplayLedger, record: PositionRecord, code: str, entry: EntryFact) -> None:
    """Void the proof of the device, or of everything on the path, until what its kind names for it passes."""
    void_proof(ledger, record, code=code, at=entry.at, entry=entry.id)
    owe_test(ledger, record, code, entry)
    if record.role.part == "input_path":
        for hanging in ledger.hanging_on(record):
            void_proof(ledger, hanging, code="path", at=entry.at, entry=entry.id)


def void_proof(ledger: ReplayLedger, record: PositionRecord, code: str, at: datetime, entry: UUID | None) -> None:
    """Void one position's proof where its kind names what must pass after this touch."""
    rule = ledger.catalogue.touches.get((record.kind, code))
    if rule is not None:
        record.touches[code] = OutstandingTouch(code, at, entry, rule.needs)
        for case in record.open_cases():
            case.touched = True  # no pass after this is one as found


# Work on one place asks for a test of another: a burner that burns otherwise, fuel piping that was apart.
OWED_TESTS = {
    "burner": ("flame_failure_test", frozenset({"open", "adjust", "fitted"})),
    "fuel_valves": ("soap_test", frozenset({"open", "disconnect", "fitted"})),
}


def touch_limits_passed(ledger: ReplayLedger, entry: EntryFact) -> None:
    """Touch the limits that should have tripped before a lever lift: raised or bypassed, until they trip."""
    psi = as_number(entry.readings.get("gauge_psi")) if entry.code == "lever_lift" else None
    for record in ledger.records.values() if psi is not None else ():
        set_psi, rule = record.numeric_setting("set_psi"), ledger.catalogue.touches.get((record.kind, "adjust"))
        if record.role.code != "high_limit" or set_psi is None or rule is None or psi is None:
            continue
        if compare(psi, set_psi, "psi") >= 0:
            record.touches["lift_over_limit"] = OutstandingTouch("lift_over_limit", entry.at, entry.id, rule.needs)
            ledger.reaches_all = True


def owe_test(ledger: ReplayLedger, record: PositionRecord, touch: str, entry: EntryFact) -> None:
    """Note what a touch asks of another place; it stands against firing until it passes."""
    code, touches = OWED_TESTS.get(record.role.code, ("", frozenset()))
    if touch in touches and code in ledger.catalogue.procedures:
        ledger.owed[code] = OwedTest(code, record.position.id, entry.at)


def note_repair(ledger: ReplayLedger, record: PositionRecord, at: datetime, opened: bool) -> None:
    """Note that something was done: on the device, for all that hangs on it, and if opened on the chamber it sits in.

    Adjusting a switch does nothing to fouled pipes.
    """
    places = [record, *ledger.hanging_on(record)]
    places += [p for p in ledger.paths_of(record) if opened and p.role.code == "float_chamber"]
    for place in places:
        for case in place.open_cases():
            case.acted_at, case.passes = at, 0
    for case in ledger.open_at(None):
        if _concerns_device(ledger, case, record):
            case.acted_at, case.passes = at, 0
    for hanging in ledger.hanging_on(record):
        blind = hanging.blind.get(record.position.id)
        if blind is not None:
            hanging.blind[record.position.id] = BlindedByPath(blind.path, blind.at, acted=True)


def _concerns_device(ledger: ReplayLedger, case: EpisodeCase, record: PositionRecord) -> bool:
    """Whether work on this device is something done about an episode of the boiler as a whole."""
    kinds = {kind for code in case.rule.clears_by for kind in ledger.evidence.procedure_by_code(code).kinds}
    return record.kind in kinds or (case.rule.code == FindingCode.AMBIENT_CO and record.role.hazard == "flue_gas")


def apply_pass(
    bench: GradingBench,
    proves: str,
    against: frozenset[str],
    *,
    tolerates_psi: float = 0.0,
    proves_too: Iterable[str] = (),
) -> bool:
    """Apply a pass. False, and nothing changes, when nobody present may give this good news, or its paper waits.

    `against` are the rules this same test fires: what it found again it does not clear.
    """
    record, procedure = bench.record, bench.procedure
    allowed = procedure.who & bench.visit.good_news_from
    if not allowed:
        return False
    cases = _cases_answered(bench, against)
    if waits_for_second(bench, cases, _clears_blind(bench, proves)):
        return False
    record.checked = bench.ledger.entry_order
    if proves:
        _keep_passes(bench, tolerates_psi, proves_too)
    _answer_touches(bench)
    if _passes_live(bench, proves):
        record.blind = {k: b for k, b in record.blind.items() if not b.acted}
    _answer_cases(bench, cases, bool(allowed - {"operator"}))
    return True


def _answer_cases(bench: GradingBench, cases: Iterable[EpisodeCase], qualified: bool) -> None:
    """Count the pass for what it answers. A caretaker's renews operator proofs and closes nothing above routine."""
    for case in cases:
        if case.level is Level.ROUTINE or qualified:
            _answer_case(case, bench)
    _note_gauge_check(bench, qualified)


def _clears_blind(bench: GradingBench, proves: str) -> bool:
    return _passes_live(bench, proves) and any(b.acted for b in bench.record.blind.values())


def _passes_live(bench: GradingBench, proves: str) -> bool:
    """Return whether this is a live pass; a kind without a full proof, as a gauge, passes live by the check it has."""
    return proves == "full" or bool(proves and not bench.ledger.catalogue.proofs_of_kind(bench.record.kind, "full"))


def _keep_passes(bench: GradingBench, tolerates_psi: float, proves_too: Iterable[str]) -> None:
    """Keep the pass of this procedure, and before it those of what it stands for as well."""
    known = [code for code in proves_too if code in bench.ledger.catalogue.procedures]
    order = bench.ledger.entry_order
    for code in (*known, bench.procedure.code):
        bench.record.passes.append(PassedProof(code, bench.entry.at, order, tolerates_psi=tolerates_psi))
        bench.record.proofs[code] = bench.entry.at
        if bench.visit.paper is not None:
            bench.ledger.paper_passes[bench.record.position.id, code, bench.entry.at] = bench.visit.paper.name
    _keep_trip_height(bench)


def _note_gauge_check(bench: GradingBench, qualified: bool) -> None:
    if bench.procedure.code == GAUGE_CHECK and qualified:
        for cause in bench.ledger.asked_causes.values():
            cause.gauge_checked = True
        drop_answered_causes(bench.ledger)


def _answer_touches(bench: GradingBench) -> None:
    """Take what this pass answers from what touches ask of this place, and of what work elsewhere asks of it."""
    record, procedure, owed = bench.record, bench.procedure, bench.ledger.owed
    for code, outstanding in list(record.touches.items()):
        left = tuple(group for group in outstanding.needs if not any(procedure.covers_or_is(n) for n in group))
        if left:
            record.touches[code] = replace(outstanding, needs=left)
        else:
            del record.touches[code]
    for code in [c for c in owed if procedure.covers_or_is(c)]:
        del owed[code]


def _answer_case(case: EpisodeCase, bench: GradingBench) -> None:
    """Count a pass, or remember it where somebody qualified must first say why, or which of two is wrong."""
    if case.rule.needs_cause and not case.cause_known:
        # Of two entries that clash a test must follow the cause.
        case.tested_in = None if case.rule.tested_in_place else bench.visit.id
        return
    _count_pass(case, bench.entry)


def drop_answered_causes(ledger: ReplayLedger) -> None:
    """Ask no longer for causes that were named, of a discharge only once the gauge was compared too."""
    ledger.asked_causes = {place: c for place, c in ledger.asked_causes.items() if not c.is_answered}


def _keep_trip_height(bench: GradingBench) -> None:
    """Keep the newest trip height, and the first one as its visit left it: what later ones are held against."""
    height, record = bench.number_reading("trip_in"), bench.record
    if height is None:
        return
    record.last_trip_in = height
    if record.first_trip_visit in (None, bench.visit.id):
        record.first_trip_in, record.first_trip_visit = height, bench.visit.id


def _cases_answered(bench: GradingBench, against: frozenset[str]) -> list[EpisodeCase]:
    """The open episodes, of the position and of the paths it hangs on, that a pass of this procedure speaks to."""
    record, paths = bench.record, bench.ledger.paths_of(bench.record)
    cases = [c for c in record.open_cases() if _is_answered(c, bench, True)]
    cases += [c for path in paths for c in path.open_cases() if _is_answered(c, bench, False)]
    cases += [c for c in bench.ledger.open_at(None) if _is_answered(c, bench, False)]
    return [c for c in cases if c.rule.code not in against]


def _is_answered(case: EpisodeCase, bench: GradingBench, is_own_case: bool) -> bool:
    """Same procedure, one that covers it, or one the rule names: never a weaker one."""
    procedure = bench.procedure
    if case.rule.closes_by_readings:
        return False
    if case.rule.needs_manager and not case.manager:
        return False
    if (case.by_data or case.rule.needs_work) and case.acted_at is None:
        return False  # no test puts a set point or a stamp right
    if case.presumed and not is_own_case:
        return False  # each of those presumed failed passes by itself
    fullest = "full" if bench.ledger.catalogue.proofs_of_kind(bench.record.kind, "full") else procedure.proof
    if case.replaced and fullest == "full":
        return (
            is_own_case and procedure.proof == "full"
        )  # a new device answers for the old one's failure by its full proof
    if case.rule.tested_in_place:
        at_its_place = case.position is not None and procedure.proof == fullest != "none"
        return at_its_place or any(procedure.covers_or_is(code) for code in _tests_of_suspect(case, bench.ledger))
    if case.rule.clears_by:
        return any(procedure.covers_or_is(code) for code in case.rule.clears_by)
    return is_own_case and bool(case.found_by) and all(procedure.covers_or_is(code) for code in case.found_by)


def _tests_of_suspect(case: EpisodeCase, ledger: ReplayLedger) -> frozenset[str]:
    """What tests a suspect of a contradiction, or of a repeat what found it."""
    catalogue = ledger.catalogue
    pairs = [catalogue.tests_of(row) for row in catalogue.contradictions if row.sentence == case.sentence]
    return frozenset(set(case.found_by) & catalogue.procedures.keys()).union(*pairs)


def _count_pass(case: EpisodeCase, entry: EntryFact) -> None:
    case.passes += 1
    as_found = case.presumed and case.acted_at is None and not case.touched
    trusted = case.cause_known and case.passes >= PASSES_TO_TRUST
    if case.acted_at is not None or as_found or trusted or not case.down:
        case.closed_at, case.closed_by = entry.at, entry.id


# Readings that say what a set point was found at: the role it is set on, and the key of its setting.
READ_BACK = {
    "cut_in_psi": ("operating_control", "cut_in_psi"),
    "cut_out_psi": ("operating_control", "cut_out_psi"),
    "limit_psi": ("high_limit", "set_psi"),
    "set_psi_read_back": ("high_limit", "set_psi"),
}


def note_read_back(ledger: ReplayLedger, record: PositionRecord, entry: EntryFact) -> None:
    """Keep what set points were read back at; it becomes no setting on record."""
    for name, (role, key) in READ_BACK.items():
        psi = as_number(entry.readings.get(name))
        if psi is None:
            continue
        same_role = [r for r in ledger.records.values() if r.role.code == role and r.device]
        for place in [record] if record.role.code == role else same_role if len(same_role) == 1 else []:
            place.read_back[key] = psi


def fill_position(ledger: ReplayLedger, record: PositionRecord, device: UUID | None, kind: str, at: datetime) -> None:
    """Put a device in, or empty the position: a new record starts, the old failures no longer put this one down."""
    record.device, record.kind, record.fitted_at = device, kind, at if device else None
    record.passes, record.proofs, record.declared, record.touches, record.blind = [], {}, {}, {}, {}
    record.read_back = {}
    record.attributes, record.settings, record.last_trip_in, record.checked = {}, {}, None, None
    record.fitted_order, record.jumper = len(ledger.trail), None
    record.first_trip_in = record.first_trip_visit = None
    note_repair(ledger, record, at, opened=True)
    for case in record.open_cases():
        case.down, case.replaced = False, device is not None
