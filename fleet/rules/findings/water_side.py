"""What is seen on the water side and accuses more than the place it was seen on."""

from collections.abc import Iterator

from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.burner_words import was_firing
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, VisitFact

_CUTOFFS = ("upper_cutoff", "lower_cutoff")


def find_glass_empty(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord | None
) -> Iterator[FoundFault]:
    """Empty with the burner firing or hot: every cutoff and the feeder failed to act. Off: a cutoff acted."""
    seen = "The glass was empty" if entry.code == "glass_empty" else "No line was visible in the glass"
    if not was_firing(visit, entry):
        sentence = f"{seen} and the burner off: the level is lost, the cause unknown."
        yield FindingCode.GLASS_EMPTY_OFF, record, sentence
        return
    seen_text = f"{seen} with the burner firing or hot"
    yield FindingCode.GLASS_EMPTY_FIRING, record, f"{seen_text}: nothing that guards against dry firing acted."
    for other_record in ledger.records.values():
        if other_record.device and other_record.role.code in _CUTOFFS:
            yield (
                FindingCode.CUTOFF_BELOW_TRIP,
                other_record,
                f"{seen_text}: the {other_record.position.name} did not act.",
            )
        if other_record.device and other_record.role.code == "feeder":
            yield (
                FindingCode.LOW_NOT_FEEDING,
                other_record,
                f"{seen_text}: the {other_record.position.name} did not feed.",
            )


def level_below_trip(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Water under a cutoff's trip height and the burner firing: that cutoff did not act."""
    if was_firing(visit, entry):
        sentence = f"The water stood under the trip height of the {record.position.name} and the burner fired."
        yield FindingCode.CUTOFF_BELOW_TRIP, record, sentence


def feeding_above_normal(
    ledger: ReplayLedger, visit: VisitFact, entry: EntryFact, record: PositionRecord
) -> Iterator[FoundFault]:
    """Burner off: a float stuck down, which fails safe. Burner on: valve, pump control or coil; no cutoff accused."""
    if was_firing(visit, entry):
        sentence = f"Water above normal, the {record.position.name} feeding, the burner on."
        yield FindingCode.FEEDING_BURNER_ON, record, sentence
    else:
        sentence = f"Water above normal, the {record.position.name} feeding, the burner off."
        yield FindingCode.FEEDING_BURNER_OFF, record, sentence
