"""Findings that rest on something seen rather than on a test."""

from collections.abc import Iterator

from fleet.rules.ledger import Ledger, Record
from fleet.rules.values import Entry, Visit

# The codes this module knows by name; the catalogue must have a row for each.
OBSERVED = frozenset({"lockout_found", "cause_found"})
RAISED = frozenset({"lockout_found", "lockout_cause"})

# Which rung should have acted before the one that was found locked out.
_BEFORE = {"lower_cutoff": "upper_cutoff", "high_limit": "operating_control"}


def observe(
    ledger: Ledger, visit: Visit, entry: Entry, record: Record | None
) -> Iterator[tuple[str, Record | None, str]]:
    """Yield (rule, where, sentence) for one observation."""
    seen = ledger.catalogue.observations[entry.code]
    if record is None:
        return
    if entry.code == "lockout_found":
        yield _lockout(ledger, record)
    elif entry.code == "cause_found":
        # Good news: it counts only from somebody qualified beyond an operator.
        for case in record.open_cases() if visit.qualifications - {"operator"} else ():
            case.cause_known = True
    elif seen.finding:
        yield seen.finding, record, f"{seen.name} on the {record.position.name}."


def _lockout(ledger: Ledger, record: Record) -> tuple[str, Record, str]:
    """It acted, which counts for it; the one before it is presumed failed until it trips as found."""
    before = _rung_before(ledger, record)
    name = record.position.name
    if before is None:
        # Nothing to accuse, and the one that acted is not accused either: only its cause is asked for.
        return "lockout_cause", record, f"The {name} was found locked out: find the cause."
    sentence = f"The {name} was found locked out: the {before.position.name} did not act before it."
    return "lockout_found", before, sentence


def _rung_before(ledger: Ledger, record: Record) -> Record | None:
    role = _BEFORE.get(record.role.code)
    return next((r for r in ledger.records.values() if r.role.code == role and r.device), None)
