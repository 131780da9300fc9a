"""What the planning of a day is given: work in houses, people with what is planned for them already, and one day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from fleet.calendar.spans import Span
from fleet.planning.travel import HousePlace

DEFAULT_SHIFT = (8 * 60, 16 * 60 + 30)  # minutes of the local day, from and to (common practice)
MinuteWindow = tuple[int, int]


@dataclass(frozen=True, slots=True)
class DayWork:
    """A job to be planned, or several jobs of one house as one trip. `minutes` is their work one after the other.

    `jobs` are left out of what is planned already, so that planned work can be planned anew. `windows` are the
    access hours of this day in minutes of the local day; None: at any time.
    """

    key: str
    jobs: frozenset[UUID]
    place: HousePlace
    zone: str
    minutes: int
    people: int = 1
    skills: frozenset[str] = frozenset()
    windows: Sequence[MinuteWindow] | None = None


@dataclass(frozen=True, slots=True)
class PlannedStop:
    """Where a person is planned to be. `place` None: for another portfolio, or not on record."""

    job: UUID
    since: datetime
    until: datetime
    place: HousePlace | None = None


@dataclass(frozen=True, slots=True)
class HeldSkill:
    """A qualification from an instant to another (None: without end)."""

    code: str
    since: datetime
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class DayPerson:
    """Who can be sent. `buildings` None: anywhere in the portfolio. `shift` is in minutes of the house's local day."""

    id: UUID
    name: str
    skills: Sequence[HeldSkill] = ()
    stops: Sequence[PlannedStop] = ()
    away: Sequence[Span] = ()
    buildings: frozenset[UUID] | None = None
    shift: MinuteWindow = DEFAULT_SHIFT


@dataclass(frozen=True, slots=True)
class DayCell:
    """What one cell of the day book says: from when a person can do the work and at what cost, or why not.

    `added_minutes` is the travel that the work adds to the day of whoever goes. `why` is one of REASON_WORDS; `why_at`
    is the instant it names and `skill` the qualification that is missing.
    """

    person: UUID
    start: datetime | None = None
    end: datetime | None = None
    second: UUID | None = None
    second_name: str = ""
    added_minutes: int = 0
    is_travel_known: bool = True
    why: str = ""
    why_at: datetime | None = None
    skill: str = ""

    @property
    def is_free(self) -> bool:
        """Whether the work can be planned here."""
        return self.start is not None
