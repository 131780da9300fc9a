"""What a write records in the change log: its cause, and an event for each thing that became different."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Cause:
    """Who or what caused a write."""

    who: str = ""
    request_id: str = ""


@dataclass(frozen=True, slots=True)
class ChangeEvent:
    """One change before it has its place in the feed. Without a boiler it belongs to the portfolio."""

    kind: str
    subject: UUID
    boiler: UUID | None
    before: str
    after: str
    sentence: str
    rule: str
    at: datetime
    reason: str = ""
