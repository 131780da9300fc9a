"""May the boiler go back into service after this visit? Advice to a qualified person, never a permission."""

from collections.abc import Iterator
from uuid import UUID

from fleet.rules.replay.evidence_replay import AfterVisit
from fleet.rules.timeline.boundaries import Timeline
from fleet.rules.timeline.standing import decide_standing
from fleet.rules.values import EntryFact, Evidence, MissingItem, ReadinessAnswer, Standing, State, VisitFact, as_number
from fleet.rules.vocabulary import EntryAct, Outcome
from fleet.rules.wording import asked_for, join_with_or, local_day

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


def answer_readiness(timeline: Timeline, visit: VisitFact) -> ReadinessAnswer:
    """Answer for one visit. *Not ready* wins over *can't say*; *ready* only if nothing at all is missing."""
    after = timeline.run.after[visit.id]
    wrong = [*_open_holds(timeline, after), *_protections_down(timeline, after), *_touches_outstanding(timeline, after)]
    wrong += [
        *_unproven_in_service(timeline, visit, after),
        *_end_checks_missing(timeline, visit, after),
        *_leaving_checks_missing(timeline, visit),
    ]
    unknown = [] if wrong else [*_inconclusive_tests(timeline, after), *_reasons_exposed(timeline, after)]
    answer = "not_ready" if wrong else "cant_say" if unknown else "ready"
    return ReadinessAnswer(visit.id, answer, tuple(wrong or unknown), tuple(_not_looked_at(timeline, after)))


def took_out(evidence: Evidence, visit: VisitFact) -> bool:
    """Return whether the visit had the boiler in hand: any kind but a routine check, or work, or a full proof.

    Looking and flushing leave a boiler as it was. A full proof shuts the feed, opens a drain or moves a set point.
    """
    return visit.kind != "routine_check" or any(not _is_plain(evidence, e) for e in visit.entries)


def _is_plain(evidence: Evidence, entry: EntryFact) -> bool:
    if entry.act == EntryAct.TEST:
        return evidence.procedure_by_code(entry.code).proof != "full" or entry.outcome == Outcome.NOT_DONE
    return entry.act == EntryAct.OBSERVE


def _open_holds(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    zone = timeline.evidence.zone
    for case in after.holds:
        sentence = f"Hold open since {local_day(case.opened_at, zone)}: {case.sentence}"
        yield MissingItem(f"hold:{case.rule.code}", sentence, case.position, case.opened_at)


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
        name = timeline.evidence.positions_by_id[position].name
        sentence = f"The {name} was touched and has not passed {asked_for(timeline.evidence, needs)} since."
        yield MissingItem("touched", sentence, position)


# Interlocks that are not counted as protection, and are proven with it all the same.
_INTERLOCKS = frozenset({"gas_pressure_switch", "louvre_interlock"})


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


def _leaving_checks_missing(timeline: Timeline, visit: VisitFact) -> Iterator[MissingItem]:
    """Yield leaving checks that were not answered yes. After a routine check only a no counts."""
    is_asked = took_out(timeline.evidence, visit)
    if not is_asked and False not in visit.leaving_checks.values():
        return
    for code, words in LEAVING_CHECKS.items():
        value = visit.leaving_checks.get(code)
        if value is False or (is_asked and value is not True):
            answered = "answered no" if value is False else "not answered"
            yield MissingItem(f"leaving:{code}", f"Leaving check {answered}: {words}.")


def _inconclusive_tests(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    for position in after.inconclusive:
        if timeline.run.ledger.records[position].role.part == "protection":
            name = timeline.evidence.positions_by_id[position].name
            yield MissingItem("inconclusive", f"The test of the {name} in this visit was inconclusive.", position)


def _reasons_exposed(timeline: Timeline, after: AfterVisit) -> Iterator[MissingItem]:
    standing, reasons = decide_standing(timeline.view_at(after.at))
    if standing is Standing.EXPOSED:
        yield from (MissingItem("exposed", r.sentence, r.position, r.since) for r in reasons)


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
