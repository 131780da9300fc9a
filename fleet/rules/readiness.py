"""May the boiler go back into service after this visit? Advice to a qualified person, never a permission."""

from collections.abc import Iterator
from uuid import UUID

from fleet.rules.boundaries import Timeline
from fleet.rules.replay import AfterVisit
from fleet.rules.standing import decide
from fleet.rules.values import Entry, Evidence, Missing, Readiness, Standing, State, Visit, number
from fleet.rules.vocabulary import EntryAct, Outcome
from fleet.rules.wording import asked_for, either, on

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


def readiness(timeline: Timeline, visit: Visit) -> Readiness:
    """*Not ready* wins over *can't say*; *ready* only if nothing at all is missing."""
    after = timeline.run.after[visit.id]
    wrong = [*_holds(timeline, after), *_down(timeline, after), *_touched(timeline, after)]
    wrong += [*_service(timeline, visit, after), *_ends_with(timeline, visit, after), *_leaving(timeline, visit)]
    unknown = [] if wrong else [*_inconclusive(timeline, after), *_still_exposed(timeline, after)]
    answer = "not_ready" if wrong else "cant_say" if unknown else "ready"
    return Readiness(visit.id, answer, tuple(wrong or unknown), tuple(_not_looked_at(timeline, after)))


def took_out(evidence: Evidence, visit: Visit) -> bool:
    """Whether the visit took the boiler out of service or touched it: a plain routine check leaves all as it was.

    Looking and flushing are plain. A full proof shuts the feed, opens a drain or moves a set point.
    """
    return visit.kind != "routine_check" or any(not _plain(evidence, e) for e in visit.entries)


def _plain(evidence: Evidence, entry: Entry) -> bool:
    if entry.act == EntryAct.TEST:
        return evidence.procedure(entry.code).proof != "full" or entry.outcome == Outcome.NOT_DONE
    return entry.act == EntryAct.OBSERVE


def _holds(timeline: Timeline, after: AfterVisit) -> Iterator[Missing]:
    zone = timeline.evidence.zone
    for case in after.holds:
        sentence = f"Hold open since {on(case.opened_at, zone)}: {case.sentence}"
        yield Missing(f"hold:{case.rule.code}", sentence, case.position, case.opened_at)


def _down(timeline: Timeline, after: AfterVisit) -> Iterator[Missing]:
    for seen in timeline.view(after.at).seen:
        counted = seen.needed and seen.role.part in ("protection", "output_path")
        if counted and seen.state.down:
            yield Missing(f"state:{seen.state.value}", seen.reason.sentence, seen.position, seen.reason.since)


def _touched(timeline: Timeline, after: AfterVisit) -> Iterator[Missing]:
    """Every device touched must pass, after the last touch, what its kind names for it."""
    for position, needs in after.touched:
        name = timeline.evidence.by_id[position].name
        told = f"The {name} was touched and has not passed {asked_for(timeline.evidence, needs)} since."
        yield Missing("touched", told, position)


# Interlocks that are not counted as protection, and are proven with it all the same.
_INTERLOCKS = frozenset({"gas_pressure_switch", "louvre_interlock"})


def _service(timeline: Timeline, visit: Visit, after: AfterVisit) -> Iterator[Missing]:
    """At the end of these visits nothing rests on an older proof: every device is proven in full again."""
    catalogue, records = timeline.evidence.catalogue_at(after.at), timeline.run.ledger.records
    for seen in timeline.view(after.at).seen if visit.kind in PROVES_EVERYTHING else ():
        counted = (seen.role.part == "protection" and seen.needed) or seen.role.part == "initiator"
        counted = counted or seen.role.code in _INTERLOCKS
        full = catalogue.proofs(records[seen.position].kind, "full")
        if counted and full and not seen.state.down and seen.position not in after.proven:
            name, asked = timeline.evidence.by_id[seen.position].name, either(p.name.lower() for p in full)
            sentence = f"This visit must prove the {name} by {asked}, and did not."
            yield Missing("service", sentence, seen.position, seen.reason.since)


# What else these visits end with (section 7), by role: each of these passed in the visit.
_ENDS_WITH = {
    "operating_control": ("three_cycles",),
    "burner": ("combustion_test", "normal_restart"),
}
CYCLES = 3  # S29: watch at least three cycles


def _ends_with(timeline: Timeline, visit: Visit, after: AfterVisit) -> Iterator[Missing]:
    """Three cycles of each operating control; combustion, the room's air with it, and a normal restart of a burner."""
    cycled = {e.position for e in visit.entries if _cycles(e) >= CYCLES and (e.position, e.code) in after.passed}
    for record in timeline.run.ledger.records.values() if visit.kind in PROVES_EVERYTHING else ():
        here = record.position.id
        for code in _ENDS_WITH.get(record.role.code, ()) if record.device else ():
            # What no release of that day knew was not asked for then.
            unknown = code not in timeline.evidence.catalogue_at(after.at).procedures
            if unknown or (here, code) in after.passed or (code == "three_cycles" and here in cycled):
                continue
            asked = timeline.evidence.procedure(code).name.lower()
            yield Missing("service", f"This visit must end with {asked} of the {record.position.name}.", here)


def _cycles(entry: Entry) -> float:
    return number(entry.readings.get("cycles")) or 0.0


def _leaving(timeline: Timeline, visit: Visit) -> Iterator[Missing]:
    """All yes after a visit that had the boiler in hand; a no counts after every visit."""
    asked = took_out(timeline.evidence, visit)
    if not asked and False not in visit.leaving_checks.values():
        return
    for code, words in LEAVING_CHECKS.items():
        value = visit.leaving_checks.get(code)
        if value is False or (asked and value is not True):
            told = "answered no" if value is False else "not answered"
            yield Missing(f"leaving:{code}", f"Leaving check {told}: {words}.")


def _inconclusive(timeline: Timeline, after: AfterVisit) -> Iterator[Missing]:
    for position in after.inconclusive:
        if timeline.run.ledger.records[position].role.part == "protection":
            name = timeline.evidence.by_id[position].name
            yield Missing("inconclusive", f"The test of the {name} in this visit was inconclusive.", position)


def _still_exposed(timeline: Timeline, after: AfterVisit) -> Iterator[Missing]:
    standing, reasons = decide(timeline.view(after.at))
    if standing is Standing.EXPOSED:
        yield from (Missing("exposed", r.sentence, r.position, r.since) for r in reasons)


def _not_looked_at(timeline: Timeline, after: AfterVisit) -> Iterator[Missing]:
    for seen in timeline.view(after.at).seen:
        if seen.role.part != "protection" or not seen.needed or seen.position in after.looked_at:
            continue
        yield Missing(
            "not_looked_at", _last_word(timeline, seen.position, seen.state, seen.reason.sentence), seen.position
        )


def _last_word(timeline: Timeline, position: UUID, state: State, sentence: str) -> str:
    name = timeline.evidence.by_id[position].name
    return (
        f"Nothing was proven or failed on the {name} in this visit. {sentence}"
        if state is not State.NOT_FITTED
        else sentence
    )
