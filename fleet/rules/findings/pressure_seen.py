"""Pressure that was seen or reached, held against the newest set points: who should have acted and did not."""

from collections.abc import Iterator
from uuid import UUID

from fleet.engineering.last_places import compare
from fleet.engineering.trips import lowest_rung_psi
from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.burner_words import is_burner_on
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.findings.pressure_side import presume_over_pressure
from fleet.rules.ledger.asked import AskedCause, PressureOverrun
from fleet.rules.ledger.doubts import ReadingDoubt, doubt_passes
from fleet.rules.ledger.effects import GAUGE_CHECK, LIMIT_CALIBRATION
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact, as_number
from fleet.rules.vocabulary import DATA_ACTS, WORK_ACTS, EntryAct, Outcome

OVER_CUT_OUT_PSI = 1.5  # an operating control may overshoot by so much (common practice)
OVER_LIMIT_PSI = 2.0  # common practice
VALVE_TOLERANCE_PSI = 2.0  # a safety valve may open so much over its set pressure (HG-401.1, from memory)
SEEN_BY = "pressure_observation"
# Tests that say what pressure stood under the valve, by the reading that says it.
DRIVEN_PRESSURE = {"limit_trip": "trip_psi", "operating_control_trip": "trip_psi", "lever_lift": "gauge_psi"}
LIFTS = frozenset({"lever_lift"})
SEEN_OVER_VALVE = "more than its set pressure was seen under it while it stayed shut"
OVERRUNS = (
    FindingCode.CONTROL_OVERRUN,
    FindingCode.LIMIT_OVERRUN,
    FindingCode.PRESSURE_OVER_VALVE,
    FindingCode.PRESUMED_BY_VALVE,
)


def find_pressure_faults(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Yield who should have acted at the pressure that one test saw, or that a trip was reached at."""
    if entry.act != EntryAct.TEST:
        return
    if entry.code == GAUGE_CHECK:
        _withdraw_explained(ledger, visit, entry, record)
    if entry.code == SEEN_BY:
        psi = as_number(entry.readings.get("gauge_psi"))
        if psi is not None:
            yield from _accused_at_sight(ledger, visit, entry, psi)
    elif entry.code in DRIVEN_PRESSURE:
        psi = as_number(entry.readings.get(DRIVEN_PRESSURE[entry.code]))
        if psi is not None and entry.code == "operating_control_trip":
            yield from _limits_accused(ledger, psi)
        yield from _valves_accused(ledger, visit, entry, psi)
    elif entry.code == LIMIT_CALIBRATION and entry.readings.get("by") == "raised":
        yield from _valves_accused(ledger, visit, entry, as_number(entry.readings.get("trip_psi")))


def _accused_at_sight(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, psi: float) -> Iterator[FoundFault]:
    """Yield who should have acted at a pressure that was seen; over a valve, also what nobody looked at."""
    controls = {c.position.id for c in _fitted(ledger, "operating_control")}
    # Raised for a test, the control does not open; the limit and the valve still must.
    is_raised, is_on = _is_control_raised(ledger, visit, entry), is_burner_on(visit, entry)
    accused = [*_limits_accused(ledger, psi)] if is_on else []
    if is_on and not is_raised:
        accused = [*_controls_accused(ledger, psi), *accused]
    yield from accused
    yield from _valves_accused(ledger, visit, entry, psi)
    spared = {record.position.id for _, record, _ in accused if record} | (controls if is_raised else set())
    if not ledger.evidence.header_in_service_at(entry.at):  # else its steam may be what stands here
        yield from _over_pressure_presumed(ledger, visit, entry, psi=psi, spared=spared)


def _over_pressure_presumed(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, *, psi: float, spared: set[UUID]
) -> Iterator[FoundFault]:
    """Yield what is presumed as if a valve had opened, where more than its set pressure stood under it; ask why."""
    excesses = {
        v.position.id: psi - lowest_rung_psi(v.numeric_setting("set_psi")) for v in _fitted(ledger, "safety_valve")
    }
    over = {place: excess for place, excess in excesses.items() if compare(excess, 0.0, "psi") > 0}
    for place, excess in over.items():
        _ask_why(ledger, visit, entry, place=place, psi=psi, excess_psi=excess)
    if not over:
        return
    for rule, record, sentence in presume_over_pressure(ledger, f"{psi:g} psi stood under the safety valve", spared):
        _note_overrun(ledger, rule, record, max(over.values()))
        yield rule, record, sentence


def _ask_why(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, *, place: UUID, psi: float, excess_psi: float
) -> None:
    """Ask for the cause of a pressure over a valve, and for a gauge check; no gauge explains a discharge."""
    asked = ledger.asked_causes.get(place)
    known_psi = asked.explained_from_psi if asked else 0.0
    name = ledger.records[place].position.name
    sentence = f"{psi:g} psi stood under the {name}: its cause is not known, or the gauge not compared since."
    ledger.asked_causes[place] = AskedCause(
        place,
        entry.at,
        visit.id,
        sentence,
        needs_gauge_check=True,
        explained_from_psi=max(excess_psi, known_psi),
        order=ledger.entry_order,
    )


def _is_control_raised(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact) -> bool:
    """Return whether an operating control was adjusted in this visit and not put back: the pressure is driven."""
    raised: set[object] = set()
    for trace in reversed(ledger.trail):
        if trace.visit.id != visit.id:
            continue
        place = trace.entry.position
        if place is None or ledger.records[place].role.code != "operating_control" or place in raised:
            continue
        if trace.entry.code == "set_back" or trace.entry.act in DATA_ACTS:
            raised.add(place)  # its last word in this visit is a setting that stands
        elif trace.entry.code in ("adjust", "calibrate"):
            return True
    return False


def _fitted(ledger: ReplayLedger, role: str) -> Iterator[PositionRecord]:
    return (r for r in ledger.records.values() if r.role.code == role and r.device)


def _controls_accused(ledger: ReplayLedger, psi: float) -> Iterator[FoundFault]:
    for control in _fitted(ledger, "operating_control"):
        cut_out = control.newest_set_point("cut_out_psi")
        if cut_out is not None and compare(psi, cut_out + OVER_CUT_OUT_PSI, "psi") > 0:
            _note_overrun(ledger, FindingCode.CONTROL_OVERRUN, control, psi - cut_out - OVER_CUT_OUT_PSI)
            sentence = f"The burner fired at {psi:g} psi: the {control.position.name} opens at {cut_out:g} and did not."
            yield FindingCode.CONTROL_OVERRUN, control, sentence


def _limits_accused(ledger: ReplayLedger, psi: float) -> Iterator[FoundFault]:
    for limit in _fitted(ledger, "high_limit"):
        set_psi = lowest_rung_psi(limit.newest_set_point("set_psi"))
        if compare(psi, set_psi + OVER_LIMIT_PSI, "psi") > 0:
            _note_overrun(ledger, FindingCode.LIMIT_OVERRUN, limit, psi - set_psi - OVER_LIMIT_PSI)
            sentence = f"The burner fired at {psi:g} psi: the {limit.position.name} trips at {set_psi:g} and did not."
            yield FindingCode.LIMIT_OVERRUN, limit, sentence


def _valves_accused(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, psi: float | None
) -> Iterator[FoundFault]:
    """Yield valves under more than their set pressure: doubtful, and failed where 2 psi more did not open them."""
    for valve in _fitted(ledger, "safety_valve") if psi is not None else ():
        set_psi = lowest_rung_psi(valve.numeric_setting("set_psi"))
        if psi is None or compare(psi, set_psi, "psi") <= 0:
            continue
        under = f"{psi:g} psi stood under the {valve.position.name}, which is set at {set_psi:g}"
        if compare(psi, set_psi + VALVE_TOLERANCE_PSI, "psi") >= 0 and not _did_discharge(visit):
            yield FindingCode.VALVE_DID_NOT_OPEN, valve, f"{under}, and it did not open."
            continue
        _note_overrun(ledger, FindingCode.PRESSURE_OVER_VALVE, valve, psi - set_psi)
        doubt_passes(ledger, [valve], ReadingDoubt(LIFTS, None, entry.at, entry.id, why=SEEN_OVER_VALVE))
        yield FindingCode.PRESSURE_OVER_VALVE, valve, f"{under}: whether it opens in time is doubtful."


def _did_discharge(visit: VisitFact) -> bool:
    return any(e.code == "valve_opened_under_pressure" for e in visit.entries)


def _note_overrun(ledger: ReplayLedger, rule: str, record: PositionRecord, excess_psi: float) -> None:
    """Remember, each time that it was seen, by how much a gauge would have to read high to explain it."""
    if not any(c.rule.code == rule for c in record.open_cases()):
        ledger.overruns.pop((rule, record.position.id), None)  # those of an episode that is over
    overrun = PressureOverrun(excess_psi, ledger.entry_order)
    ledger.overruns.setdefault((rule, record.position.id), []).append(overrun)


def _withdraw_explained(ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, gauge: PositionRecord) -> None:
    """Withdraw presumptions where a comparison finds that their gauge reads high by as much."""
    difference = as_number(entry.readings.get("difference_psi"))
    was_done = ledger.outcomes.get(entry.id) in (Outcome.PASS, Outcome.FAIL)
    may_say = bool(ledger.catalogue.procedures[entry.code].who & visit.qualifications)
    if difference is None or entry.readings.get("gauge_reads") != "high" or not (was_done and may_say):
        return
    for case in list(ledger.open_cases()):
        if case.rule.code not in OVERRUNS or case.position is None:
            continue
        overruns = ledger.overruns.pop((case.rule.code, case.position), [])
        unexplained = [o for o in overruns if not _is_explained(ledger, o, gauge, difference)]
        if unexplained:
            ledger.overruns[case.rule.code, case.position] = unexplained
        elif overruns:
            case.closed_at, case.closed_by, ledger.reaches_all = entry.at, entry.id, True
    for place, cause in list(ledger.asked_causes.items()):
        if _is_explained(ledger, PressureOverrun(cause.explained_from_psi, cause.order), gauge, difference):
            del ledger.asked_causes[place]


def _is_explained(ledger: ReplayLedger, overrun: PressureOverrun, gauge: PositionRecord, difference: float) -> bool:
    """Return whether this gauge showed it, differs by as much, and was neither fitted nor worked on since."""
    place, seen = gauge.position.id, ledger.trail[overrun.order - 1].entry
    gauges = [other.position.id for other in _fitted(ledger, "gauge")]
    # A trip does not say by which of several gauges it was read.
    was_read_by = seen.position == place or (seen.position not in gauges and gauges == [place])
    worked_on = any(t.entry.act in WORK_ACTS and t.entry.position == place for t in ledger.trail[overrun.order :])
    is_same = was_read_by and gauge.fitted_order < overrun.order and not worked_on
    return is_same and compare(difference, overrun.excess_psi, "psi") >= 0
