"""What is kept of a make-up meter while the evidence is replayed."""

from dataclasses import dataclass, field
from datetime import datetime

from fleet.engineering.makeup import MeterReading


@dataclass(frozen=True, slots=True)
class MakeupPeriod:
    """Make-up between two readings, known at the later: gallons a day, and why that is too much (None in band)."""

    at: datetime
    rate: float
    rise_reason: str | None

    @property
    def in_band(self) -> bool:
        """Whether the rate is nothing unusual for this boiler."""
        return self.rise_reason is None


@dataclass(slots=True)
class MeterHistory:
    """A make-up meter while it is read: its newest reading, its periods, and the rates of those in band."""

    last: MeterReading | None = None
    periods: list[MakeupPeriod] = field(default_factory=list)
    usual: list[float] = field(default_factory=list)
