"""What an entry does to the records: opens episodes, voids proofs, renews them, clears failures."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from fleet.engineering.last_places import compare
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.asked import BlindedByPath, OwedTest
from fleet.rules.ledger.episodes import AnsweredByPass, CalibrationNeed, EpisodeCase, OutstandingTouch, PassedProof
from fleet.rules.ledger.papers_of_others import waits_for_second
from fleet.rules.ledger.records import GradingBench, PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, Level, as_number
from fleet.rules.vocabulary import EntryAct

GAUGE_CHECK, ZERO_CHECK = "gauge_comparison", "gauge_zero_check"
LIMIT_CALIBRATION = "limit_calibration"
PATH_PARTS = ("input_path", "output_path")
PASSES_TO_TRUST = 3  # an intermittent device must pass this often running, its cause recorded


def open_case(
    ledger: ReplayLedger, rule_code: str, place: PositionRecord | None, entry: EntryFact, sentence: str
) -> EpisodeCase:
    """Open an episode, or renew the open one of the same rule: whatever was done before did not help."""
    case = begin_case(ledger, rule_code, place=place, at=entry.at, entry=entry.id, sentence=sentence)
    is_clash_elsewhere = rule_code == FindingCode.CONTRADICTION and place is not None and not _is_at(place, entry)
    if entry.act == EntryAct.TEST and not is_clash_elsewhere:  # a test elsewhere is no suspect's
        # All of them: a weaker test that fails again must not make the weaker one enough.
        case.found_by |= {entry.code}
    rule = case.rule
    case.down, case.presumed = rule.fails != "none", rule.fails == "presumed"
    case.acted_at, case.passes, case.touched, case.replaced = None, 0, False, False
    case.tested_in = None
    case.newest_at, case.found_in, case.last_order = entry.at, case.found_in | {entry.id}, ledger.entry_order
    carries = place is not None and place.role.part in PATH_PARTS
    # A jumper or a failed test on a path defeats what it carries as surely as dirt in it; a presumption does not.
    if place is not None and (rule.fails == "path" or (rule.fails == "device" and carries)):
        _blind_all_on(ledger, place, entry.at)
    return case


def _is_at(place: PositionRecord, entry: EntryFact) -> bool:
    return place.position.id == entry.position


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

    Adjusting a switch does nothing to fouled pipes, and no work on a device changes what is on record of it.
    """
    places = [record, *ledger.hanging_on(record)]
    places += [p for p in ledger.paths_of(record) if opened and p.role.code == "float_chamber"]
    cases = [case for place in places for case in place.open_cases()]
    cases += [case for case in ledger.open_cases() if _concerns_device(ledger, case, record)]
    for case in cases:
        if not case.by_data:  # put right by the data alone, which are held against the rules whenever they change
            case.acted_at, case.passes, case.last_order = at, 0, ledger.entry_order
    for hanging in ledger.hanging_on(record):
        blind = hanging.blind.get(record.position.id)
        if blind is not None:
            hanging.blind[record.position.id] = BlindedByPath(blind.path, blind.at, acted=True)


# Switches that watch what the burner is fed with; they are counted among no protections, and proven all the same.
FUEL_SWITCHES = frozenset(
    {"gas_pressure_switch", "oil_pressure_switch", "oil_temperature_switch", "atomizing_medium_switch"}
)

# What was seen at one place, or of the boiler as a whole, is put right wherever its cause was.
_FIRE_AND_DRAFT = frozenset({"vent", "draft_control", "combustion_air", "louvre_interlock", "burner", "boiler_body"})
CAUSED_AT: dict[str, frozenset[str]] = {
    FindingCode.FLUE_GAS_SPILLS: _FIRE_AND_DRAFT,
    FindingCode.SOOT_SEEN: _FIRE_AND_DRAFT,
    FindingCode.SOOT_WITH_FLUE_GAS: _FIRE_AND_DRAFT,
    FindingCode.ROUGH_LIGHT_OFF: frozenset(
        {"burner", "fuel_valves", "flame_safeguard", "vent", "draft_control", "combustion_air", *FUEL_SWITCHES}
    ),
}


def _concerns_device(ledger: ReplayLedger, case: EpisodeCase, record: PositionRecord) -> bool:
    """Whether work on this device is something done about an episode elsewhere, or of the boiler as a whole.

    Of jumpers that nobody placed no device is known to be the one: only the leaving check says that they are off.
    """
    if record.role.code in CAUSED_AT.get(case.rule.code, ()):
        return True
    if case.position is not None or case.rule.code == FindingCode.JUMPER_LEFT:
        return False
    kinds = {kind for code in case.rule.clears_by for kind in ledger.evidence.procedure_by_code(code).kinds}
    return record.kind in kinds or (case.rule.code == FindingCode.AMBIENT_CO and record.role.hazard == "flue_gas")


def apply_pass(
    bench: GradingBench,
    proves: str,
    against: frozenset[str],
    *,
    tolerates_psi: float = 0.0,
    proves_too: Iterable[str] = (),
    calibration: CalibrationNeed | None = None,
) -> bool:
    """Apply a pass. False, and nothing changes, when nobody present may give this good news, or its paper waits.

    `against` are the rules that it does not clear: it fires them itself, or says nothing of what they found.
    """
    allowed = bench.procedure.who & bench.visit.good_news_from
    if not allowed:
        return False
    qualified = bool(allowed - {"operator"})
    cases = _cases_answered(bench, against, qualified)
    if waits_for_second(bench, cases, clears_blind=_passes_live(bench, proves)):
        return False
    answered = _answer_what_it_may(bench, proves, cases)
    if proves:
        _keep_passes(bench, proves_too, answered, tolerates_psi=tolerates_psi, calibration=calibration)
    _note_check(bench, proves, qualified)
    return True


def _answer_what_it_may(bench: GradingBench, proves: str, cases: list[EpisodeCase]) -> AnsweredByPass:
    """Answer touches, blindness and these episodes, and return what was answered."""
    answered = AnsweredByPass(
        bench.entry.id,
        touches=_answer_touches(bench),
        blind=_end_blindness(bench) if _passes_live(bench, proves) else [],
        cases=cases,
    )
    for case in answered.cases:
        _answer_case(case, bench)
    return answered


def _passes_live(bench: GradingBench, proves: str) -> bool:
    """Return whether this is a live pass; a kind without a full proof, as a gauge, passes live by the check it has."""
    return proves == "full" or bool(proves and not bench.ledger.catalogue.proofs_of_kind(bench.record.kind, "full"))


def _end_blindness(bench: GradingBench) -> list[BlindedByPath]:
    """Let the device see again behind each path that was cleared, and return those."""
    cleared = [b for b in bench.record.blind.values() if b.acted]
    bench.record.blind = {k: b for k, b in bench.record.blind.items() if not b.acted}
    return cleared


def _keep_passes(
    bench: GradingBench,
    proves_too: Iterable[str],
    answered: AnsweredByPass,
    *,
    tolerates_psi: float,
    calibration: CalibrationNeed | None,
) -> None:
    """Keep the pass of this procedure with what it answers, and before it those of what it stands for as well."""
    passed = PassedProof(
        bench.procedure.code,
        bench.entry.at,
        bench.ledger.entry_order,
        tolerates_psi=tolerates_psi,
        calibration=calibration,
    )
    known = [code for code in proves_too if code in bench.ledger.catalogue.procedures]
    bench.record.passes += [*(replace(passed, code=code) for code in known), replace(passed, answered=answered)]
    for code in (*known, bench.procedure.code):
        bench.record.proofs[code] = bench.entry.at
        if bench.visit.paper is not None:
            bench.ledger.paper_passes[bench.record.position.id, code, bench.entry.at] = bench.visit.paper.name
    _keep_trip_height(bench)


def _note_check(bench: GradingBench, proves: str, qualified: bool) -> None:
    """Note that what is here was found right, and of a gauge compared by somebody qualified that it was compared."""
    if proves or bench.procedure.covers_or_is(ZERO_CHECK):
        bench.record.checked = bench.ledger.entry_order
    if bench.procedure.code == GAUGE_CHECK and qualified:
        for cause in bench.ledger.asked_causes.values():
            cause.gauge_checked = True
        drop_answered_causes(bench.ledger)


def _answer_touches(bench: GradingBench) -> list[OutstandingTouch]:
    """Take what this pass answers from what touches ask of this place, and of what work elsewhere asks of it.

    Return the touches, each with only the needs that were met.
    """
    answered: list[OutstandingTouch] = []
    record, procedure, owed = bench.record, bench.procedure, bench.ledger.owed
    for code, outstanding in list(record.touches.items()):
        left = tuple(group for group in outstanding.needs if not any(procedure.covers_or_is(n) for n in group))
        met = tuple(group for group in outstanding.needs if group not in left)
        if met:
            answered.append(replace(outstanding, needs=met))
        if left:
            record.touches[code] = replace(outstanding, needs=left)
        else:
            del record.touches[code]
    for code in [c for c in owed if procedure.covers_or_is(c)]:
        del owed[code]
    return answered


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


def _cases_answered(bench: GradingBench, against: frozenset[str], qualified: bool) -> list[EpisodeCase]:
    """The open episodes, of the position and of the paths it hangs on, that a pass of this procedure speaks to.

    A caretaker's pass renews operator proofs; it closes nothing above routine.
    """
    record, paths = bench.record, bench.ledger.paths_of(bench.record)
    cases = [c for c in record.open_cases() if _is_answered(c, bench, True)]
    cases += [c for path in paths for c in path.open_cases() if _is_answered(c, bench, False)]
    cases += [c for c in bench.ledger.open_at(None) if _is_answered(c, bench, False)]
    return [c for c in cases if c.rule.code not in against and (qualified or c.level is Level.ROUTINE)]


def _is_answered(case: EpisodeCase, bench: GradingBench, is_own_case: bool) -> bool:
    """Same procedure, one that covers it, or one the rule names: never a weaker one."""
    procedure = bench.procedure
    if case.rule.closes_by_readings:
        return False
    if case.rule.needs_manager and not case.manager:
        return False
    if (case.by_data or case.rule.needs_work) and case.acted_at is None:
        return False  # no test puts a set point or a stamp right
    if not _has_looked_for(case, bench):
        return False
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


def _has_looked_for(case: EpisodeCase, bench: GradingBench) -> bool:
    """Return whether the test read all by which it would have found the same again; what it left out it did not see."""
    specs = [s for s in bench.procedure.readings.values() if s.finding == case.rule.code]
    return all(bench.entry.readings.get(s.name) is not None for s in specs)


def _tests_of_suspect(case: EpisodeCase, ledger: ReplayLedger) -> frozenset[str]:
    """What tests a suspect of a contradiction, or of a repeat what found it."""
    catalogue = ledger.catalogue
    pairs = [catalogue.tests_of(row) for row in catalogue.contradictions if case.sentence.startswith(row.sentence)]
    return frozenset(set(case.found_by) & catalogue.procedures.keys()).union(*pairs)


def _count_pass(case: EpisodeCase, entry: EntryFact) -> None:
    case.passes, case.tested_in = case.passes + 1, None
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
    record.first_trip_in = record.first_trip_visit = record.operator_due_at = None
    note_repair(ledger, record, at, opened=True)
    is_path = record.role.part in PATH_PARTS
    for case in record.open_cases():
        if case.rule.fails != "path" or is_path:  # else it is the piping that failed, and that is still there
            case.down, case.replaced = False, device is not None
