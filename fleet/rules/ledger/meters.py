"""What is kept of a make-up meter while the evidence is replayed."""

from dataclasses import dataclass, field
from datetime import datetime

from fleet.engineering.makeup import MeterReading


@dataclass(frozen=True, slots=True)
class MakeupPeriod:
    """Make-up between two readings, known at the later: gallons a day, and why that is too much ('' in band)."""

    at: datetime
    rate: float
    in_band: bool
    rise_reason: str


@dataclass(slots=True)
class MeterHistory:
    """A make-up meter while it is read: its newest reading, its periods, and the rates of those in band."""

    last: MeterReading | None = None
    periods: list[MakeupPeriod] = field(default_factory=list)
    usual: list[float] = field(default_factory=list)
