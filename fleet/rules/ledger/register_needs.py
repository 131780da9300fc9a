"""What the register leaves out while the evidence is replayed: asked whenever the register or the law changes."""

from datetime import datetime

from fleet.rules.ledger.asked import GapsSince
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.needed_roles import (
    VALUE_NAMES,
    BoilerFacts,
    PlaceOnRecord,
    RegisterGap,
    find_register_gaps,
    sum_burner_inputs,
)


def burner_input_btu_h(ledger: ReplayLedger) -> float | None:
    """Return the burner's input in Btu/h by its plate, of several burners the sum; None where none is on record."""
    burners = [r for r in ledger.records.values() if r.role.code == "burner" and r.device]
    return sum_burner_inputs(b.numeric_setting("input_btu_h") for b in burners)


def boiler_facts(ledger: ReplayLedger) -> BoilerFacts:
    """Return what decides which rows of the table ask something of this boiler, as the replay stands."""
    kinds = frozenset(r.kind for r in ledger.records.values() if r.on_record and r.device)
    return BoilerFacts(ledger.boiler, burner_input_btu_h(ledger), kinds)


def find_gaps(ledger: ReplayLedger) -> tuple[RegisterGap, ...]:
    """Return what a boiler of this kind needs and its register does not name, as the replay stands."""
    if not ledger.register_asked:
        return ()
    places = [_place_on_record(ledger, r) for r in ledger.records.values() if r.on_record]
    return find_register_gaps(ledger.catalogue, ledger.boiler, places, burner_input_btu_h(ledger))


def _place_on_record(ledger: ReplayLedger, record: PositionRecord) -> PlaceOnRecord:
    if not record.device:
        return PlaceOnRecord(record.role.code)
    return PlaceOnRecord(
        record.role.code,
        record.kind,
        paths=frozenset(path.role.code for path in ledger.paths_of(record) if path.on_record),
        values=frozenset(key for key in VALUE_NAMES if record.numeric_setting(key) is not None),
    )


def note_gaps(ledger: ReplayLedger, at: datetime) -> None:
    """Remember what the register leaves out from now on, where that differs from what it left out before."""
    gaps = find_gaps(ledger)
    if gaps != (ledger.gaps[-1].gaps if ledger.gaps else ()):
        ledger.gaps.append(GapsSince(at, gaps))
