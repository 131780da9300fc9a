"""What stands against firing the boiler after a visit? Advice to a qualified person, never a permission."""

from collections.abc import Iterator
from datetime import datetime
from uuid import UUID

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.lockouts import CAUSE_NAMED, LOCKOUTS_SEEN, RESETS
from fleet.rules.ledger.effects import FUEL_SWITCHES
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.replay.replay_run import AfterVisit
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.timeline.standing import reasons_for_due, reasons_for_exposed
from fleet.rules.values import (
    EntryFact,
    Evidence,
    FiringAnswer,
    Level,
    MissingItem,
    ReadinessAnswer,
    State,
    VisitFact,
    as_number,
)
from fleet.rules.vocabulary import DATA_ACTS, ArrivalState, EntryAct, Outcome
from fleet.rules.wording import agree, asked_for, join_with_or, local_day

LEAVING_CHECKS = {
    "jumpers_off": "jumpers and test leads off",
    "set_points_read": "set points back and read",
    "feed_open": "feed open",
    "drains_shut": "drains shut",
    "glass_cocks_open": "glass cocks open",
    "resets_in": "resets in",
    "water_at_line": "water at the line",
    "tags_accounted": "tags accounted for",
    "told": "somebody told",
}

PROVES_EVERYTHING = ("annual_service", "season_start")
OPEN_CASE_ITEM = {Level.HOLD: "hold", Level.URGENT: "open", Level.ROUTINE: "routine"}
MINOR_ITEMS = ("routine:", "due")  # what alone is no more than a reminder


def answer_readiness(timeline: Timeline, visit: VisitFact) -> ReadinessAnswer | None:
    """Answer for one visit, None where it did not have the boiler in hand.

    *Something does* wins over *not examined*; *nothing found by this visit* only if nothing at all is open or unknown.
    """
    if not had_in_hand(timeline.evidence, visit):
        return None
    after = timeline.run.after[visit.id]
    against = [*_things_against(timeline, visit, after)]
    unknown = [] if against else [*_things_unknown(timeline, visit, after)]
    answer = FiringAnswer.NOTHING_FOUND
    if against or unknown:
        answer = FiringAnswer.SOMETHING_DOES if against else FiringAnswer.NOT_EXAMINED
    return ReadinessAnswer(
        visit.id,
        visit.at,
        answer,
        missing=tuple(against or unknown),
        not_looked_at=tuple(_not_looked_at(timeline, after)),
    )


def _things_against(timeline: Timeline, visit: VisitFact, after: AfterVisit) -> Iterator[MissingItem]:
    yield from _open_deficiencies(timeline, after)
    yield from _protections_down(timeline, after)
    yield from _touches_outstanding(timeline, after)
    yield from _owed_tests(timeline, after)
    yield from _causes_unknown(after)
    yield from _unsaid_lockout(visit, after)
    yield from _unproven_in_service(timeline, visit, after)
    yield from _end_checks_missing(timeline, visit, after)
    yield from _leaving_checks_missing(visit)


def _things_unknown(timeline: Timeline, visit: VisitFact, after: AfterVisit) -> Iterator[MissingItem]:
    yield from _excused_lockouts(after)
    yield from _inconclusive_tests(timeline, after)
    yield from _unproven_positions(timeline, visit, after)


def had_in_hand(evidence: Evidence, visit: VisitFact) -> bool:
    """Return whether somebody qualified had the boiler in hand: no routine check, or one that worked on something.

    Looking and flushing leave a boiler as it was. A full proof shuts the feed, opens a drain or moves a set point. A
    leaving check that is answered says how the boiler was left, so it is answered for.
    """
    if not visit.may_judge_boiler:
        return False
    return (
        visit.kind != "routine_check"
        or bool(visit.leaving_checks)
        or any(_works_on_boiler(evidence, e) for e in visit.entries)
    )


def _works_on_boiler(evidence: Evidence, entry: EntryFact) -> bool:
    if entry.act == EntryAct.TEST:
        return evidence.procedure_by_code(entry.code).proof == "full" and entry.outcome != Outcome.NOT_DONE
    return entry.act == EntryAct.ACTION or entry.act in DATA_ACTS or entry.code == "reset_pressed"


def _open_deficiencies(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    """Yield every open deficiency, worst class first: those of the visit's end, and what time alone has opened."""
    zone = timeline.evidence.zone
    open_cases = (pair for pair in _cases_with_level(timeline, after) if _stands_against_firing(after, pair[1]))
    for level, case in sorted(open_cases, key=lambda pair: list(Level).index(pair[0])):
        words = "Hold open" if level is Level.HOLD else f"{level.value.capitalize()} and open"
        sentence = f"{words} since {local_day(case.opened_at, zone)}: {case.sentence}"
        yield MissingItem(f"{OPEN_CASE_ITEM[level]}:{case.rule.code}", sentence, case.position, case.opened_at)


_NEVER_AGAINST_FIRING = frozenset({FindingCode.NOT_ON_RECORD, FindingCode.PAST_SERVICE_LIFE})


def _stands_against_firing(after: AfterVisit, case: EpisodeCase) -> bool:
    """Return whether an open episode does.

    What is not on record is not examined, an excused lockout not known, and a device's age is no finding of a visit.
    """
    return case.rule.code not in _NEVER_AGAINST_FIRING and not _is_excused(after, case)


def _is_excused(after: AfterVisit, case: EpisodeCase) -> bool:
    excused_places = {q.position for q in after.questions if q.is_excused}
    return case.rule.code == FindingCode.LOCKOUT_CAUSE and case.position in excused_places


def _causes_unknown(after: AfterVisit) -> Iterator[MissingItem]:
    """Yield lockouts and discharges whose cause was not named."""
    for question in after.questions:
        if not question.is_excused:
            yield MissingItem("cause_unknown", question.sentence, question.position, question.at)


def _excused_lockouts(after: AfterVisit) -> Iterator[MissingItem]:
    """Yield lockouts whose cause was looked for in vain: they stand against nothing, and nobody knows why."""
    for question in after.questions:
        if question.is_excused:
            sentence = f"It was looked for in vain: {question.sentence}"
            yield MissingItem("cause_not_found", sentence, question.position, question.at)


def _owed_tests(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    """Yield tests of one place that work on another asked for and that have not passed since."""
    for owed in after.owed:
        name = timeline.evidence.positions_by_id[owed.position].name
        test = timeline.evidence.procedure_by_code(owed.code).name.lower()
        when = local_day(owed.at, timeline.evidence.zone)
        sentence = f"Work was done on the {name} on {when}, and the {test} has not passed since."
        yield MissingItem("owed", sentence, owed.position, owed.at)


def _unsaid_lockout(visit: VisitFact, after: AfterVisit) -> Iterator[MissingItem]:
    """Yield that the boiler was found locked out and no entry says what had locked out, or why.

    A reset says it only where its own cause is asked for: another may be of the circuit, or end a test.
    """
    asked_places = {q.position for q in after.questions if q.at >= visit.at}
    is_said = any(
        e.code in (*LOCKOUTS_SEEN, CAUSE_NAMED) or (e.code in RESETS and e.position in asked_places)
        for e in visit.entries
    )
    if visit.state_on_arrival == ArrivalState.LOCKED_OUT and not is_said:
        sentence = "The boiler was found locked out, and it is not recorded what had locked out and why."
        yield MissingItem("lockout_unsaid", sentence)


def _cases_with_level(timeline: Timeline, after: AfterVisit) -> Iterator[tuple[Level, EpisodeCase]]:
    for case in after.open_cases:
        yield _level_at(case, after.at), case
    for case in timeline.time_cases:
        if case.opened_at <= after.at and (case.closed_at is None or case.closed_at > after.at):
            yield _level_at(case, after.at), case


def _level_at(case: EpisodeCase, at: datetime) -> Level:
    return max((step for step in ((case.opened_at, case.level), *case.later) if step[0] <= at), key=_step_instant)[1]


def _step_instant(step: tuple[datetime, Level]) -> datetime:
    return step[0]


def _protections_down(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    for position in timeline.view_at(after.at).positions:
        counted = position.needed and position.role.part in ("protection", "output_path")
        if counted and position.state.down:
            yield MissingItem(
                f"state:{position.state.value}", position.reason.sentence, position.position, position.reason.since
            )


def _touches_outstanding(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    """Yield touched devices that have not passed since all that their kind names for the touch."""
    for position, needs in after.touched:
        place, tests = timeline.evidence.positions_by_id[position], asked_for(timeline.evidence, needs)
        sentence = f"The {place.name} {agree(place, 'was')} touched and {agree(place, 'has')} not passed {tests} since."
        yield MissingItem("touched", sentence, position)


# Interlocks that are not counted as protection, and are proven with it all the same.
_INTERLOCKS = frozenset({"louvre_interlock", "low_draft_switch", *FUEL_SWITCHES})


def _unproven_in_service(timeline: Timeline, visit: VisitFact, after: AfterVisit) -> Iterator[MissingItem]:
    """Yield devices that an annual service or season start did not prove in full: no older proof counts at its end."""
    catalogue, records = timeline.evidence.catalogue_at(after.at), timeline.run.ledger.records
    for position in timeline.view_at(after.at).positions if visit.kind in PROVES_EVERYTHING else ():
        counted = (position.role.part == "protection" and position.needed) or position.role.part == "initiator"
        counted = counted or position.role.code in _INTERLOCKS
        full = catalogue.proofs_of_kind(records[position.position].kind, "full")
        if counted and full and not position.state.down and position.position not in after.proven:
            name, proof_names = (
                timeline.evidence.positions_by_id[position.position].name,
                join_with_or(p.name.lower() for p in full),
            )
            sentence = f"This visit must prove the {name} by {proof_names}, and did not."
            yield MissingItem("service", sentence, position.position, position.reason.since)


# What else these visits end with (section 7), by role: each of these passed in the visit.
_ENDS_WITH = {
    "operating_control": ("three_cycles",),
    "burner": ("combustion_test", "normal_restart"),
}
CYCLES = 3  # S29: watch at least three cycles


def _end_checks_missing(timeline: Timeline, visit: VisitFact, after: AfterVisit) -> Iterator[MissingItem]:
    """Yield what else these visits end with and did not: three cycles of each control, combustion, a normal restart."""
    cycled = {
        e.position for e in visit.entries if _cycles_watched(e) >= CYCLES and (e.position, e.code) in after.passed
    }
    for record in timeline.run.ledger.records.values() if visit.kind in PROVES_EVERYTHING else ():
        position = record.position.id
        for code in _ENDS_WITH.get(record.role.code, ()) if record.device else ():
            # What no release of that day knew was not asked for then.
            unknown = code not in timeline.evidence.catalogue_at(after.at).procedures
            if unknown or (position, code) in after.passed or (code == "three_cycles" and position in cycled):
                continue
            test_name = timeline.evidence.procedure_by_code(code).name.lower()
            yield MissingItem(
                "service", f"This visit must end with {test_name} of the {record.position.name}.", position
            )


def _cycles_watched(entry: EntryFact) -> float:
    return as_number(entry.readings.get("cycles")) or 0.0


def _leaving_checks_missing(visit: VisitFact) -> Iterator[MissingItem]:
    """Yield leaving checks that were not answered yes."""
    for code, words in LEAVING_CHECKS.items():
        value = visit.leaving_checks.get(code)
        if value is not True:
            answered = "answered no" if value is False else "not answered"
            yield MissingItem(f"leaving:{code}", f"Leaving check {answered}: {words}.")


def _inconclusive_tests(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    for position in after.inconclusive:
        name = timeline.evidence.positions_by_id[position].name
        yield MissingItem("inconclusive", f"The test of the {name} in this visit was inconclusive.", position)


def _unproven_positions(timeline: Timeline, visit: VisitFact, after: AfterVisit) -> Iterator[MissingItem]:
    """Yield what is lapsed, never proven or due after the visit; at a service also what is not on record."""
    view = timeline.view_at(after.at)
    exposed = {r.sentence: r for r in reasons_for_exposed(view)}
    yield from (MissingItem("exposed", r.sentence, r.position, r.since) for r in exposed.values())
    for reason in reasons_for_due(view):
        is_gap = reason.rule == FindingCode.NOT_ON_RECORD
        if reason.sentence not in exposed and (not is_gap or visit.kind in PROVES_EVERYTHING):
            yield MissingItem(
                FindingCode.NOT_ON_RECORD if is_gap else "due", reason.sentence, reason.position, reason.since
            )


def _not_looked_at(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    for position in timeline.view_at(after.at).positions:
        if position.role.part != "protection" or not position.needed or position.position in after.looked_at:
            continue
        yield MissingItem(
            "not_looked_at",
            _last_word(timeline, position.position, position.state, position.reason.sentence),
            position.position,
        )


def _last_word(timeline: Timeline, position: UUID, state: State, sentence: str) -> str:
    name = timeline.evidence.positions_by_id[position].name
    return (
        f"Nothing was proven or failed on the {name} in this visit. {sentence}"
        if state is not State.NOT_FITTED
        else sentence
    )
