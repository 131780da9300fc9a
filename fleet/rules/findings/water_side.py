"""What is seen on the water side and accuses more than the place it was seen on."""

from collections.abc import Iterator

from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger import Ledger, Record
from fleet.rules.values import Entry, Visit
from fleet.rules.vocabulary import FOUND_OFF

Found = tuple[str, Record | None, str]

_CUTOFFS = ("upper_cutoff", "lower_cutoff")


def fires(visit: Visit, entry: Entry) -> bool:
    """Whether the burner was firing or the boiler hot when it was seen; where nobody says, it is taken to fire."""
    said = entry.readings.get("burner_firing")
    if isinstance(said, bool):
        return said
    return visit.state_on_arrival not in FOUND_OFF


def glass_empty(ledger: Ledger, visit: Visit, entry: Entry, record: Record | None) -> Iterator[Found]:
    """Empty with the burner firing or hot: every cutoff and the feeder failed to act. Off: a cutoff acted."""
    if not fires(visit, entry):
        sentence = "The glass was empty and the burner off: the level is lost, the cause unknown."
        yield FindingCode.GLASS_EMPTY_OFF, record, sentence
        return
    told = "The glass was empty with the burner firing or hot"
    yield FindingCode.GLASS_EMPTY_FIRING, record, f"{told}: nothing that guards against dry firing acted."
    for other in ledger.records.values():
        if other.device and other.role.code in _CUTOFFS:
            yield FindingCode.CUTOFF_BELOW_TRIP, other, f"{told}: the {other.position.name} did not act."
        if other.device and other.role.code == "feeder":
            yield FindingCode.LOW_NOT_FEEDING, other, f"{told}: the {other.position.name} did not feed."


def level_below_trip(ledger: Ledger, visit: Visit, entry: Entry, record: Record) -> Iterator[Found]:
    """Water under a cutoff's trip height and the burner firing: that cutoff did not act."""
    if fires(visit, entry):
        sentence = f"The water stood under the trip height of the {record.position.name} and the burner fired."
        yield FindingCode.CUTOFF_BELOW_TRIP, record, sentence


def feeding_above_normal(ledger: Ledger, visit: Visit, entry: Entry, record: Record) -> Iterator[Found]:
    """Burner off: a float stuck down, which fails safe. Burner on: valve, pump control or coil; no cutoff accused."""
    if fires(visit, entry):
        sentence = f"Water above normal, the {record.position.name} feeding, the burner on."
        yield FindingCode.FEEDING_BURNER_ON, record, sentence
    else:
        sentence = f"Water above normal, the {record.position.name} feeding, the burner off."
        yield FindingCode.FEEDING_BURNER_OFF, record, sentence
