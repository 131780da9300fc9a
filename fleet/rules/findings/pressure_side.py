"""What is seen on the pressure side and accuses more than the place it was seen on."""

from collections.abc import Collection, Iterator
from datetime import datetime
from math import inf
from uuid import UUID

from fleet.rules.catalogue import FindingRule
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger.asked import AskedCause, PressureOverrun
from fleet.rules.ledger.doubts import ReadingDoubt, doubt_passes
from fleet.rules.ledger.effects import GAUGE_CHECK
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact, as_number
from fleet.rules.vocabulary import Outcome

FoundFault = tuple[str, PositionRecord | None, str]

READ_BY_GAUGE = frozenset({"limit_trip", "limit_calibration", "operating_control_trip", "lever_lift", "three_cycles"})
_PRESUMED = ("operating_control", "high_limit", "siphon", "fuel_valves")


def gauge_zero_steaming(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Steam is made and the gauge stands at zero: as a plugged siphon, and the gauge's where it hangs on one."""
    siphons = [p for p in ledger.paths_of(record) if p.role.code == "siphon"] or [record]
    for siphon in siphons:
        sentence = f"Steam was made and the gauge on the {siphon.position.name} read zero."
        yield FindingCode.GAUGE_ZERO_WITH_STEAM, siphon, sentence


def gauge_not_zero_cold(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """The pressures read by it since its last good check are in doubt."""
    sentence = f"The {record.position.name} did not read zero with the boiler cold and vented."
    yield FindingCode.GAUGE_OFF, record, sentence


def doubt_readings_of(ledger: ReplayLedger, rule: FindingRule, place: PositionRecord | None, entry: EntryFact) -> None:
    """Put in doubt what was proven by readings of a gauge found wrong, or blind behind its siphon, since a good check.

    However it was found: seen cold, compared with a test gauge, or plugged on the bench. A comparison says by how much;
    trips whose verdict so much cannot change stand.
    """
    if place is None or not rule.blinds_gauge:
        return
    if place.role.code == "gauge" or any(r.role.code == "gauge" for r in ledger.hanging_on(place)):
        difference = as_number(entry.readings.get("difference_psi"))
        error_psi = inf if difference is None else difference
        doubt = ReadingDoubt(READ_BY_GAUGE, _last_check(place), at=entry.at, entry=entry.id, error_psi=error_psi)
        doubt_passes(ledger, ledger.records.values(), doubt)


def _last_check(record: PositionRecord) -> int | None:
    """The last good check of what is in this place now; before it was fitted another one was read."""
    if record.checked is not None:
        return record.checked
    return record.fitted_order if record.fitted_at else None


def doubt_unmeasured_gauge(ledger: ReplayLedger, record: PositionRecord, at: datetime, entry: UUID | None) -> None:
    """Put in doubt what a gauge read that leaves its place while a discharge still asks whether it was right.

    One that was measured wrong since has put in doubt what so much can change.
    """
    discharges = [c for c in ledger.asked_causes.values() if c.needs_gauge_check and not c.gauge_checked]
    if record.device and record.role.code == "gauge" and any(not _is_measured(ledger, record, c) for c in discharges):
        doubt = ReadingDoubt(READ_BY_GAUGE, _last_check(record), at=at, entry=entry)
        doubt_passes(ledger, ledger.records.values(), doubt)


def _is_measured(ledger: ReplayLedger, gauge: PositionRecord, cause: AskedCause) -> bool:
    """Return whether the gauge was compared, and found wrong, since the discharge was seen."""
    return any(
        t.entry.code == GAUGE_CHECK and t.entry.position == gauge.position.id and t.outcome == Outcome.FAIL
        for t in ledger.trail[cause.order :]
    )


def find_valve_opened(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Over-pressure is presumed: all that should have acted first, until each passes as found; or the valve is weak."""
    yield FindingCode.VALVE_OPENED, record, f"The {record.position.name} opened under pressure."
    sentence = f"The {record.position.name} discharged: its cause is not known, or the gauge not compared since."
    order = ledger.entry_order
    asked = AskedCause(record.position.id, entry.at, visit.id, sentence, needs_gauge_check=True, order=order)
    ledger.asked_causes[record.position.id] = asked
    for fault in presume_over_pressure(ledger, "The safety valve opened under pressure"):
        # No error of a gauge explains a discharge.
        ledger.overruns[fault[0], fault[1].position.id] = [PressureOverrun(inf, order)]
        yield fault


def presume_over_pressure(
    ledger: ReplayLedger, event: str, spared: Collection[UUID] = ()
) -> Iterator[tuple[str, PositionRecord, str]]:
    """Yield all that should have acted before so much stood under a valve; `spared` are accused otherwise."""
    for record in ledger.records.values():
        if record.device and record.role.code in _PRESUMED and record.position.id not in spared:
            yield FindingCode.PRESUMED_BY_VALVE, record, f"{event}: the {record.position.name} is presumed failed."


def find_fuel_burned(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """A switch opened and the fuel burned on: where device and circuit are both possible, the circuit comes first."""
    carries = [r for r in (record, *ledger.paths_of(record)) if r.role.part == "output_path"]
    valves = [p for p in ledger.paths_of(record) if p.role.code == "fuel_valves"]
    for circuit in [*carries, *valves] or [record]:
        sentence = f"The {record.position.name} opened and the fuel burned on: the {circuit.position.name} did not act."
        yield FindingCode.OUTPUT_PATH_FAILED, circuit, sentence
