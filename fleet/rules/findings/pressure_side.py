"""What is seen on the pressure side and accuses more than the place it was seen on."""

from collections.abc import Collection, Iterator
from math import inf
from uuid import UUID

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.ledger.asked import AskedCause, PressureOverrun
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact
from fleet.rules.wording import agree

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
            is_ = agree(record.position, "is")
            yield FindingCode.PRESUMED_BY_VALVE, record, f"{event}: the {record.position.name} {is_} presumed failed."


def find_fuel_burned(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """A switch opened and the fuel burned on: where device and circuit are both possible, the circuit comes first."""
    carries = [r for r in (record, *ledger.paths_of(record)) if r.role.part == "output_path"]
    valves = [p for p in ledger.paths_of(record) if p.role.code == "fuel_valves"]
    for circuit in [*carries, *valves] or [record]:
        sentence = f"The {record.position.name} opened and the fuel burned on: the {circuit.position.name} did not act."
        yield FindingCode.OUTPUT_PATH_FAILED, circuit, sentence
