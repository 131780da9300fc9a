"""Findings that rest on something seen rather than on a test: most by the catalogue's table, the rest by a function."""

from collections.abc import Callable, Iterator

from fleet.rules.findings import fire_side, lockouts, pressure_side, water_seen, water_side
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.ledger.episodes import WaitingGoodNews
from fleet.rules.ledger.papers_of_others import lacks_to_lift_tag, note_waiting_paper
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact

ObservationRule = Callable[[ReplayLedger, VisitFact, EntryFact, PositionRecord], Iterator[FoundFault]]

# What is seen on a place and needs more than its row: who else is accused, or what the burner did meanwhile.
_SPECIAL: dict[str, ObservationRule] = {
    "level_below_trip": water_side.level_below_trip,
    "feeding_above_normal": water_side.feeding_above_normal,
    "gauge_zero_steaming": pressure_side.gauge_zero_steaming,
    "gauge_not_zero_cold": pressure_side.gauge_not_zero_cold,
    "valve_opened_under_pressure": pressure_side.find_valve_opened,
    "switch_opened_fuel_burned": pressure_side.find_fuel_burned,
}

# These may be seen anywhere, or of the boiler as a whole.
_ANYWHERE: dict[str, Callable[[ReplayLedger, VisitFact, EntryFact, PositionRecord | None], Iterator[FoundFault]]] = {
    "glass_empty": water_side.find_glass_empty,
    "air_blocked": fire_side.air_blocked,
    "vent_loose": fire_side.vent_bad,
    "vent_blocked": fire_side.vent_bad,
    "vent_disconnected": fire_side.vent_bad,
    "flooded": fire_side.find_flooded,
    "glass_full": water_seen.find_no_line,
    "no_line_visible": water_seen.find_no_line,
}

# The codes this module knows by name; the catalogue must have a row for each.
OBSERVED = frozenset({*lockouts.LOCKOUTS_SEEN, "cause_found", "cause_not_found", *_SPECIAL, *_ANYWHERE})


def find_by_observation(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Yield (rule, where, sentence) for one observation; without a position it is about the boiler as a whole."""
    observation = ledger.catalogue.observations[entry.code]
    if entry.code == "cause_found":
        _note_cause(ledger, visit, entry, record)
    elif entry.code == "cause_not_found":
        if record is not None and visit.may_judge_boiler:
            lockouts.note_search(ledger, visit, entry, record)
    elif entry.code.startswith("tag_lifted_"):
        _lift_tag(ledger, visit, entry)
    elif entry.code in _ANYWHERE:
        yield from _ANYWHERE[entry.code](ledger, visit, entry, record)
    elif record is None or (not observation.roles and entry.code not in _SPECIAL):
        # What may be seen anywhere is about the boiler as a whole: any place's named test may answer it.
        if observation.finding:
            yield observation.finding, None, f"{observation.name}."
    elif entry.code in lockouts.LOCKOUTS_SEEN:
        yield from lockouts.find_lockout(ledger, visit, entry, record)
    elif entry.code in _SPECIAL:
        yield from _SPECIAL[entry.code](ledger, visit, entry, record)
    elif observation.finding:
        yield observation.finding, record, f"{observation.name}: {record.position.name}."


def _note_cause(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None) -> None:
    """Good news: it counts only from somebody qualified beyond an operator. A repeat takes a manager's name as well.

    What was tested in the same visit before its cause was named is closed with it: nobody tests twice.
    """
    if not visit.may_judge_boiler:
        return
    manager_name = entry.readings.get("manager")
    if record is not None:
        lockouts.note_cause(ledger, record)
    for case in ledger.open_at(record):
        case.cause_known = True
        if case.tested_in == visit.id:
            case.closed_at, case.closed_by, ledger.reaches_all = entry.at, entry.id, True
        case.manager = case.manager or (manager_name.strip() if isinstance(manager_name, str) else "")


def _lift_tag(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> None:
    """Only the body that hung a tag lifts it, on paper; a paper in other hands needs a serial and a second name."""
    body = entry.code.removeprefix("tag_lifted_")
    for case in ledger.general:
        if case.is_open and case.rule.code == f"tag_{body}" and body in visit.good_news_from:
            lacks = lacks_to_lift_tag(ledger, visit, entry)
            note_waiting_paper(ledger, visit, WaitingGoodNews(lacks, ledger.entry_order, cases=(case,)))
            if not lacks:
                case.closed_at, case.closed_by = entry.at, entry.id
