"""Findings that take more than one entry: they look back over what was done before."""

from collections.abc import Iterator

from fleet.rules.ledger import Ledger, Record
from fleet.rules.values import Entry, Visit


def notice(ledger: Ledger, visit: Visit, entry: Entry, record: Record) -> Iterator[tuple[str, Record | None, str]]:
    """Yield (rule, where, sentence) for what an entry makes of those before it, `ledger.trail`."""
    return iter(())
