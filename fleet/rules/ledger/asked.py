"""Small things kept while the evidence is replayed: causes asked for, tests owed, locks, gaps, blinded devices."""

from dataclasses import dataclass
from datetime import datetime
from math import inf
from uuid import UUID

from fleet.rules.needed_roles import RegisterGap


@dataclass(slots=True)
class AskedCause:
    """Why a device locked out or too much stood under a safety valve: asked for until somebody qualified says it."""

    position: UUID
    at: datetime
    visit: UUID
    sentence: str
    order: int = 0  # of a discharge its place among all entries
    needs_gauge_check: bool = False  # a discharge is explained only with a gauge that is known to be right
    explained_from_psi: float = inf  # a gauge found wrong by so much explains what was read on it
    is_named: bool = False
    gauge_checked: bool = False
    searched_by: UUID | None = None  # the entry that says what was looked for in vain
    searched_in: UUID | None = None  # its visit
    is_excused: bool = False  # the search was enough: it is not known, and stands against firing no more

    @property
    def is_answered(self) -> bool:
        """Whether everything that was asked for is there."""
        return self.is_named and (self.gauge_checked or not self.needs_gauge_check)


@dataclass(frozen=True, slots=True)
class OwedTest:
    """A test of another place that work here asks for, until it passes."""

    code: str
    position: UUID
    at: datetime


@dataclass(slots=True)
class LockOn:
    """Power or fuel locked off at a place, with no word yet that it was unlocked. `is_accused`: one fired under it."""

    visit: UUID
    at: datetime
    place: UUID
    is_of_neighbor: bool  # it hangs on a shared place, in a visit to another boiler
    is_accused: bool = False


@dataclass(frozen=True, slots=True)
class PressureOverrun:
    """By how many psi a pressure that was seen lay over what should have acted; `order` is that of its entry."""

    excess_psi: float
    order: int


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """A cause that was asked for and not named when a visit ended."""

    position: UUID
    at: datetime
    sentence: str
    is_excused: bool


@dataclass(frozen=True, slots=True)
class GapsSince:
    """What the register left out from an instant on."""

    at: datetime
    gaps: tuple[RegisterGap, ...]


@dataclass(frozen=True, slots=True)
class BlindedByPath:
    """Failed because a path it hangs on failed; its own live pass after the clearing ends it."""

    path: UUID
    at: datetime
    acted: bool = False
