"""What is seen on the fire side: air and vent by themselves, and together with flue gas in the room."""

from collections.abc import Iterator

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.ledger.effects import void_proof
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact

SPILLS = ("spill_switch", "rollout_switch")


def air_blocked(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Yield the finding that the burner gets no air."""
    yield FindingCode.COMBUSTION_AIR_BLOCKED, record, "The combustion air is blocked."


def vent_bad(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Yield that the vent is blocked or disconnected, or a joint of it loose: flue gas may enter the room."""
    if entry.code == "vent_loose":
        yield FindingCode.VENT_LOOSE, record, "The vent is loose."
        return
    how = "blocked" if entry.code == "vent_blocked" else "disconnected"
    yield FindingCode.VENT_BLOCKED, record, f"The vent is {how}."


def find_flooded(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Yield that burner or controls were under water; at a place that one, else nothing that water spoils is proven."""
    for place in ledger.records.values() if record is None else [record]:
        if place.device and (record is not None or _is_spoiled_by_water(ledger, place)):
            void_proof(ledger, place, code="open", at=entry.at, entry=entry.id)
    yield FindingCode.FLOODED, record, "Burner or controls were flooded."


def _is_spoiled_by_water(ledger: ReplayLedger, record: PositionRecord) -> bool:
    """Return whether a device is of burner or fuel, is electrical (all that can be jumpered is), or feeds water."""
    can_be_jumpered = (record.kind, "jumper") in ledger.catalogue.touches
    return record.role.hazard == "fuel_not_shut" or can_be_jumpered or record.role.code == "feeder"


# What two findings are together: the finding, what one of them joins, what the other joins, the sentence.
_TOGETHER = (
    (
        FindingCode.AIR_OR_VENT_WITH_CO,
        "air_or_vent",
        frozenset({"flue_gas"}),
        "Air or vent are blocked or loose, and flue gas or carbon monoxide was found with it.",
    ),
    (
        FindingCode.SOOT_WITH_FLUE_GAS,
        "soot",
        frozenset({"flue_gas", "air_or_vent"}),
        "Soot was seen, and flue gas or carbon monoxide, or a fault of air or vent, was found with it.",
    ),
)
JOINED_FINDINGS = frozenset(code for code, *_ in _TOGETHER)


def find_joined_dangers(ledger: ReplayLedger, entry: EntryFact) -> Iterator[FoundFault]:
    """Yield what open findings are together, whichever was found first: a danger of its own beside each of them."""
    if not any(c.entry == entry.id for c in ledger.open_cases()):
        return  # nearly always: this one opened nothing
    rules = {c.rule.code: c for c in ledger.open_cases()}
    if not any(c.opened_at == entry.at and c.entry == entry.id for c in rules.values()):
        return
    joins = {c.rule.joins for c in rules.values()}
    for code, one, others, sentence in _TOGETHER:
        if code not in rules and one in joins and others & joins:
            yield code, None, sentence
