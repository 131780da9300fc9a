"""Replay one boiler's evidence in its total order: every fact once, in the order the work was performed."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import zip_longest
from uuid import UUID

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings import doubt_unmeasured_gauge, wrong_by_data
from fleet.rules.ledger import effects
from fleet.rules.ledger.clocks import full_clocks
from fleet.rules.ledger.episodes import EpisodeCase, OutstandingTouch
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.ledger.register_needs import note_gaps
from fleet.rules.needed_roles import grace_end
from fleet.rules.replay.after_visit import end_visit, state_after_visit
from fleet.rules.replay.entry_acts import apply_entry
from fleet.rules.replay.firing_reports import with_fired_services
from fleet.rules.replay.replay_run import Fact, Place, RegisterFact, ReplayRun
from fleet.rules.values import (
    EntryFact,
    Evidence,
    FittingFact,
    LawInForce,
    Level,
    Moment,
    PositionFact,
    RegisterPosted,
    ServiceChange,
    ServiceMode,
    SettingFact,
    State,
    VisitFact,
)
from fleet.rules.vocabulary import DATA_ACTS

SEASON_START_COUNTS = timedelta(days=90)  # before the word in service (domain, section 12)
SEASON_START_IS_FRESH = timedelta(days=14)  # an older one leaves its operator proofs due (domain, section 12)
REGISTER_VISIT = UUID(int=0)  # register facts of an instant come before what was done at that instant


def replay_evidence(evidence: Evidence) -> ReplayRun:
    """Run every fact through the ledger; the snapshots hold each position's state of knowledge since each change."""
    evidence = with_fired_services(evidence)
    positions = sorted(evidence.positions, key=lambda p: (p.ref, str(p.id)))
    ledger = ReplayLedger(evidence, evidence.laws[0], {p.id: _blank_record(evidence, p.id) for p in positions})
    run = ReplayRun(ledger, {i: [ledger.take_snapshot(r, None)] for i, r in ledger.records.items()})
    _fold_facts(run, sorted(_ordered_facts(evidence), key=lambda pair: pair[0]))
    return run


def resume_replay(run: ReplayRun, evidence: Evidence) -> bool:
    """Replay what is new, with the result of one replay of all. Return False, and change nothing, if impossible.

    It is possible where the register and the law say the same as before, every visit known then is unchanged, and all
    that is new was done after everything known then.
    """
    evidence = with_fired_services(evidence)
    known_evidence, facts = run.ledger.evidence, sorted(_ordered_facts(evidence), key=lambda pair: pair[0])
    visits, places_known = {v.id: v for v in evidence.visits}, len(run.places)
    if any(visits.get(v.id) != v for v in known_evidence.visits) or not _is_same_register(known_evidence, evidence):
        return False
    if [place for place, _ in facts[:places_known]] != run.places:
        return False
    # What is done at one instant is looked at when all of it is told.
    if run.places and facts[places_known:] and facts[places_known][0][0].at == run.places[-1][0].at:
        return False
    run.ledger.drop_time_cases()
    run.ledger.evidence = evidence
    _fold_facts(run, facts[places_known:])
    return True


def _is_same_register(evidence: Evidence, other_evidence: Evidence) -> bool:
    return value_types(evidence) == value_types(other_evidence) and replace(evidence, visits=(), papers=()) == replace(
        other_evidence, visits=(), papers=()
    )


def value_types(evidence: Evidence) -> list[type]:
    """Return the type of each value of the register. Yes and 1 are equal in Python and are different facts here."""
    stamped = [type(value) for f in evidence.fittings for value in f.attributes.values()]
    return [*(type(s.value) for s in evidence.settings), *stamped]


def _fold_facts(run: ReplayRun, facts: Sequence[tuple[Place, Fact]]) -> None:
    """Fold the facts, in their order, into the run."""
    ledger, last = run.ledger, {v.id: _last_entry(v) for v in run.ledger.evidence.visits}
    run.places += [place for place, _ in facts]
    changed: dict[UUID, PositionRecord] = {}
    for ((moment, _), fact), following in zip_longest(facts, facts[1:]):
        if isinstance(fact, tuple):
            changed = changed | apply_entry(run, *fact)
            if fact[1] is last[fact[0].id]:
                changed = changed | end_visit(run, fact[0])
        else:
            _apply_register_fact(ledger, fact)
            changed = ledger.records
        if _is_data_changed(fact, moment, following):
            _apply_data_faults(ledger, moment.at, fact[1] if isinstance(fact, tuple) else None)
        if following is None or following[0][0].at != moment.at:
            _keep_snapshots(run, moment.at, changed.values())
            changed = {}
        if isinstance(fact, tuple) and fact[1] is last[fact[0].id]:
            run.after[fact[0].id] = state_after_visit(run, fact[0], moment.at)


def _is_data_changed(fact: Fact, moment: Moment, following: tuple[Place, Fact] | None) -> bool:
    """Return whether the data must be checked again: after entries that change them, and after register facts.

    Register facts of one instant belong together: half of a register is not a fault.
    """
    if isinstance(fact, tuple):
        return fact[1] is not None and fact[1].act in DATA_ACTS
    return following is None or following[0][0].visit != REGISTER_VISIT or following[0][0].at != moment.at


def _apply_data_faults(ledger: ReplayLedger, at: datetime, entry: EntryFact | None) -> None:
    """Open what is wrong in the data now. What is put right waits for its proof, or closes where none is named."""
    note_gaps(ledger, at)
    wrong = {(w.rule, w.position): w for w in wrong_by_data(ledger)}
    for case in list(ledger.open_cases()):
        if case.by_data and (case.rule.code, case.position) not in wrong and case.acted_at is None:
            case.acted_at, case.down = at, False
            if not case.rule.clears_by or _no_longer_needed(ledger, case):
                case.closed_at, case.closed_by = at, entry.id if entry else None
    for (rule, position), fault in wrong.items():
        if rule not in ledger.catalogue.findings:
            continue  # the release in force did not know it yet
        place = ledger.records[position] if position else None
        case = effects.begin_case(
            ledger, rule, place=place, at=at, entry=entry.id if entry else None, sentence=fault.sentence
        )
        case.by_data, case.acted_at, case.sentence = True, None, fault.sentence
        if case.rule.code == FindingCode.NOT_ON_RECORD and not case.later:
            case.later = [(grace_end(at, ledger.evidence.zone), Level.URGENT)]


def _no_longer_needed(ledger: ReplayLedger, case: EpisodeCase) -> bool:
    """Return whether the place is empty and no longer needed: then no device is left to prove."""
    record = ledger.records[case.position] if case.position else None
    return record is not None and case.rule.closes_unneeded and not record.device


def _last_entry(visit: VisitFact) -> EntryFact | None:
    return max(visit.entries, key=lambda e: (e.at, e.number), default=None)


def _blank_record(evidence: Evidence, position_id: UUID) -> PositionRecord:
    position = evidence.positions_by_id[position_id]
    role = evidence.role_by_code(position.role)
    return PositionRecord(position, role, needed=role.part == "protection", on_record=position.since is None)


def _ordered_facts(evidence: Evidence) -> Iterable[tuple[Place, Fact]]:
    """Yield facts with their place in the total order. Ties of register facts are broken by content, not arrival."""
    for law in evidence.laws[1:]:
        if law.since is not None:  # only the first has none
            yield (Moment(law.since, REGISTER_VISIT, -1), ""), law
    for position in evidence.positions:
        if position.since is not None:
            yield (Moment(position.since, REGISTER_VISIT, 0), ""), position
    for fitting in evidence.fittings:
        yield (Moment(fitting.since, REGISTER_VISIT, 0), f"{fitting.position} {fitting.device}"), fitting
    for setting in evidence.settings:
        yield (Moment(setting.since, REGISTER_VISIT, 1), f"{setting.position} {setting.key} {setting.value}"), setting
    for service in evidence.services:
        yield (Moment(service.since, REGISTER_VISIT, 2), service.state), service
    if evidence.register is not None:
        yield (Moment(evidence.register.at, REGISTER_VISIT, 3), ""), evidence.register
    # By id: a visit handed in twice is the same visit.
    for visit in {v.id: v for v in evidence.visits}.values():
        for entry in visit.entries:
            yield (Moment(entry.at, visit.id, entry.number), ""), (visit, entry)
        if not visit.entries:  # nothing was done, and that too is an answer
            yield (Moment(visit.at, visit.id, 0), ""), (visit, None)


def _keep_snapshots(run: ReplayRun, at: datetime, changed: Iterable[PositionRecord]) -> None:
    """Freeze what an instant changed, after everything done at that instant was applied."""
    for record in changed:
        snapshots = run.snapshots[record.position.id]
        now = run.ledger.take_snapshot(record, at)
        if now != snapshots[-1]:
            snapshots.append(now)


def _apply_register_fact(ledger: ReplayLedger, fact: RegisterFact) -> None:
    if isinstance(fact, LawInForce):
        ledger.law = fact
    elif isinstance(fact, PositionFact):
        ledger.records[fact.id].on_record = True
    elif isinstance(fact, RegisterPosted):
        ledger.register_asked = True
    elif isinstance(fact, FittingFact):
        record = ledger.records[fact.position]
        doubt_unmeasured_gauge(ledger, record, fact.since, None)
        effects.fill_position(ledger, record, device=fact.device, kind=fact.kind, at=fact.since)
        record.attributes, record.declared = fact.attributes, dict(fact.declared)
    elif isinstance(fact, ServiceChange):
        _apply_service_change(ledger, fact)
    elif fact.position is not None:
        _apply_setting(ledger.records[fact.position], fact)
        ledger.forget_piping()
    elif not isinstance(fact.value, tuple):
        ledger.boiler[fact.key] = fact.value


def _apply_service_change(ledger: ReplayLedger, change: ServiceChange) -> None:
    """Apply a service state. Back in service, each operator proof from before the pause must be given again."""
    # No word before the first change means in service; before a boiler is commissioned nothing was proven.
    paused = (
        ledger.service is not None and not ledger.service.runs and ledger.service is not ServiceMode.NOT_COMMISSIONED
    )
    ledger.service = change.state
    if paused and change.state.runs:
        for record in ledger.records.values():
            needs = frozenset(p.code for p in ledger.catalogue.proofs_of_kind(record.kind, "partial"))
            if needs:
                _ask_operator_proofs(ledger, record, needs, change.since)
            full = frozenset(p.code for p in ledger.catalogue.proofs_of_kind(record.kind, "full"))
            if full and _had_lapsed(ledger, record, change.since):
                record.touches["lapsed_out_of_service"] = OutstandingTouch(
                    "lapsed_out_of_service", change.since, None, (full,)
                )


def _ask_operator_proofs(ledger: ReplayLedger, record: PositionRecord, needs: frozenset[str], at: datetime) -> None:
    """Ask for the operator proofs again, by a touch. Those of an older season start are due, whatever was adopted."""
    start = _season_start_behind(ledger, record, needs, at)
    if start is None:
        record.touches["return_to_service"] = OutstandingTouch("return_to_service", at, None, (needs,))
    elif at - start > SEASON_START_IS_FRESH:
        record.operator_due_at = at


def _season_start_behind(
    ledger: ReplayLedger, record: PositionRecord, needs: frozenset[str], at: datetime
) -> datetime | None:
    """Return the season start, within the days before the word, to which the newest operator proof here belongs."""
    starts = [
        v.at
        for v in ledger.evidence.visits
        if v.kind == "season_start" and v.of_this_boiler and "technician" in v.qualifications
    ]
    procedure_by_code = ledger.evidence.procedure_by_code
    passes = [
        passed
        for code, passed in record.proofs.items()
        if passed <= at and any(procedure_by_code(code).covers_or_is(need) for need in needs)
    ]
    newest = max(passes, default=None)
    return max((s for s in starts if newest and at - SEASON_START_COUNTS <= s <= newest), default=None)


def _had_lapsed(ledger: ReplayLedger, record: PositionRecord, at: datetime) -> bool:
    """Return whether the full proof had lapsed before the return; an operator proof is asked for by itself."""
    clocks = full_clocks(ledger.evidence, ledger.take_snapshot(record, at), ledger.evidence.law_at(at))
    return any(c.state is State.LAPSED and c.at <= at for c in clocks)


def _apply_setting(record: PositionRecord, fact: SettingFact) -> None:
    if isinstance(fact.value, tuple):
        record.paths = fact.value
    elif fact.key == "needed":
        record.needed = bool(fact.value)
    else:
        record.settings[fact.key] = fact.value
        record.read_back.pop(fact.key, None)
