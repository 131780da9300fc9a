"""What a write tells the log: who caused it, and each thing that became different."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Cause:
    """Who or what made a write happen."""

    who: str = ""
    request_id: str = ""


@dataclass(frozen=True, slots=True)
class News:
    """One thing that became different, before it has its place in the feed; without boiler it is the portfolio's."""

    kind: str
    subject: UUID
    boiler: UUID | None
    before: str
    after: str
    sentence: str
    rule: str
    at: datetime
    reason: str = ""
