"""Episodes of findings, and what answers them: passes that prove something, and what work asks to be passed again."""

from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from fleet.rules.catalogue import FindingRule
from fleet.rules.ledger.asked import BlindedByPath
from fleet.rules.values import Level


@dataclass(slots=True)
class EpisodeCase:
    """An episode of one finding rule at one position, from the entry that opened it to the one that closes it."""

    rule: FindingRule
    position: UUID | None
    opened_at: datetime
    entry: UUID | None
    sentence: str
    found_by: frozenset[str]
    down: bool
    episode: int
    level: Level
    presumed: bool = False
    touched: bool = False
    replaced: bool = False
    later: list[tuple[datetime, Level]] = field(default_factory=list)  # classes it takes on by time alone
    by_data: bool = False  # rests on set points, stamps or ranges, not on an entry
    by_time: bool = False  # brought by time alone: laid over the replay when that is through, never seen by it
    acted_at: datetime | None = None
    passes: int = 0
    cause_known: bool = False
    manager: str = ""  # who of the owner's side stands by the root cause of a repeat
    newest_at: datetime | None = None  # when it was last found
    last_order: int = 0  # of the entry that last found it, or last did something about it
    found_in: frozenset[UUID] = frozenset()  # every entry that found it since it was opened
    closed_at: datetime | None = None
    closed_by: UUID | None = None
    device: UUID | None = None  # what filled the place when it began
    tested_in: UUID | None = None  # the visit whose test would have closed it, had its cause been named
    is_reopened: bool = False  # goes on from an earlier one: the pass that had closed that is in doubt
    gauge_error_psi: float = 0.0  # by how much the gauge was found to differ; unbounded where nobody measured it

    @property
    def is_open(self) -> bool:
        """Whether nothing has closed it yet."""
        return self.closed_at is None


@dataclass(frozen=True, slots=True)
class OutstandingTouch:
    """Work that voided a proof, and what is still to pass: of each of `needs` any one procedure."""

    code: str
    at: datetime
    entry: UUID | None
    needs: tuple[frozenset[str], ...]


@dataclass(frozen=True, slots=True)
class AnsweredByPass:
    """What one pass answered, to be put back where it turns out doubtful: of each touch only the needs that it met."""

    entry: UUID
    touches: list[OutstandingTouch]
    blind: list[BlindedByPath]
    cases: list[EpisodeCase]


@dataclass(frozen=True, slots=True)
class CalibrationNeed:
    """The rules whose findings a pass answers only after a calibration, and the one it rests on, by its order."""

    rules: frozenset[str]
    order: int = 0  # 0: none

    def may_answer(self, case: EpisodeCase) -> bool:
        """Return whether the pass speaks to this episode: of another rule, or found before the calibration."""
        return case.rule.code not in self.rules or self.order > case.last_order


@dataclass(frozen=True, slots=True)
class PassedProof:
    """One pass that proved something. `doubt` says why it counts as inconclusive by now, "" where it stands.

    `tolerates_psi` is by how much its gauge may be wrong before the verdict could be another one.
    """

    code: str
    at: datetime
    order: int = 0  # its place among all entries: those of one visit may share an instant
    doubt: str = ""
    tolerates_psi: float = 0.0
    calibration: CalibrationNeed | None = None
    answered: AnsweredByPass | None = field(default=None, compare=False, repr=False)

    @property
    def doubtful(self) -> bool:
        """Whether what it was read by turned out blind or wrong."""
        return bool(self.doubt)

    def may_answer(self, case: EpisodeCase) -> bool:
        """Return whether this pass speaks to an episode that another one of its test answered."""
        return self.calibration is None or self.calibration.may_answer(case)


@dataclass(frozen=True, slots=True)
class WaitingGoodNews:
    """Good news of a paper that changes nothing yet: what it lacks, and what it would end.

    `proves` is the place where its proof alone would end a hold, with no episode of its own. `order` is its entry's.
    """

    lacks: tuple[str, ...]
    order: int
    cases: tuple[EpisodeCase, ...] = ()
    blinded: tuple[BlindedByPath, ...] = ()
    place: UUID | None = None
    proves_alone: bool = False
