"""What every module of findings yields."""

from fleet.rules.ledger.records import PositionRecord

# The rule that fires, the place it accuses (None: the boiler as a whole), and the sentence that says so.
FoundFault = tuple[str, PositionRecord | None, str]
