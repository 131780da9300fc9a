"""What a replay leaves behind: the ledger after the last fact, with the trace of every fact on the way."""

from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from fleet.rules.ledger.asked import OpenQuestion, OwedTest
from fleet.rules.ledger.episodes import EpisodeCase
from fleet.rules.ledger.records import PositionSnapshot, ReplayLedger, StateSection
from fleet.rules.values import (
    EntryFact,
    EntryVerdict,
    FittingFact,
    JudgedFinding,
    LawInForce,
    Moment,
    PositionFact,
    RegisterPosted,
    ServiceChange,
    SettingFact,
    VisitFact,
)


@dataclass(slots=True)
class ReplayRun:
    """The ledger after the last fact, with the trace that the fold left behind."""

    ledger: ReplayLedger
    snapshots: dict[UUID, list[PositionSnapshot]]
    verdicts: list[EntryVerdict] = field(default_factory=list)
    by_entry: dict[UUID, EntryVerdict] = field(default_factory=dict)
    findings: list[JudgedFinding] = field(default_factory=list)
    after: dict[UUID, "AfterVisit"] = field(default_factory=dict)
    places: list["Place"] = field(default_factory=list)  # of every fact replayed its place in the order
    cut: dict[UUID, list[StateSection]] = field(default_factory=dict)  # what `states` made of the snapshots so far


@dataclass(frozen=True, slots=True)
class AfterVisit:
    """What was open when a visit ended: `touched` says what each touched position still needs, `proven` is in full."""

    at: datetime
    open_cases: tuple[EpisodeCase, ...]
    touched: tuple[tuple[UUID, tuple[frozenset[str], ...]], ...]
    inconclusive: tuple[UUID, ...]
    looked_at: frozenset[UUID]
    proven: frozenset[UUID]
    passed: frozenset[tuple[UUID, str]]
    owed: tuple[OwedTest, ...] = ()
    questions: tuple[OpenQuestion, ...] = ()


RegisterFact = PositionFact | FittingFact | SettingFact | ServiceChange | RegisterPosted | LawInForce
Fact = RegisterFact | tuple[VisitFact, EntryFact | None]
Place = tuple[Moment, str]  # in the total order: by moment, and by content among register facts of one instant
