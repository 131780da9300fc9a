"""Every value that crosses a room's border: what `judge` is given (from `facts`), and here what it answers."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from uuid import UUID, uuid5

from fleet.calendar.spans import Span
from fleet.rules.facts import (
    ActFact,
    AdoptedTerms,
    CatalogueEdition,
    EntryFact,
    Evidence,
    FittingFact,
    LawInForce,
    Moment,
    OthersPaper,
    Override,
    PaperFact,
    PositionFact,
    RegisterPosted,
    ServiceChange,
    ServiceMode,
    SettingFact,
    UnconfirmedName,
    Value,
    VisitFact,
    as_number,
)
from fleet.rules.vocabulary import values_of

__all__ = [
    "FIRING_ANSWERS",
    "ActFact",
    "AdoptedTerms",
    "CatalogueEdition",
    "Condition",
    "ConditionStep",
    "EntryFact",
    "EntryVerdict",
    "Evidence",
    "FiringAnswer",
    "FittingFact",
    "HeatEvidence",
    "JudgedDeficiency",
    "JudgedFinding",
    "Judgement",
    "LawInForce",
    "Level",
    "LevelSegment",
    "MissingItem",
    "Moment",
    "OthersPaper",
    "Override",
    "PaperFact",
    "PositionFact",
    "PositionStateSegment",
    "ReadinessAnswer",
    "Reason",
    "RegisterPosted",
    "ServiceChange",
    "ServiceMode",
    "SettingFact",
    "Standing",
    "StandingSegment",
    "State",
    "UnconfirmedName",
    "Value",
    "VisitFact",
    "WaitingNames",
    "WaitingPaper",
    "as_number",
    "deficiency_id",
    "paper_id",
]


class State(StrEnum):
    """What is known of one protection at one instant, worst first."""

    NOT_ON_RECORD = "not_on_record"
    NOT_FITTED = "not_fitted"
    FAILED = "failed"
    INTERMITTENT = "intermittent"
    NEVER_PROVEN = "never_proven"
    LAPSED = "lapsed"
    DUE = "due"
    PROVEN = "proven"

    @property
    def stands(self) -> bool:
        """Whether the protection may be counted on: proven, or due and still inside its grace."""
        return self in _STANDS

    @property
    def down(self) -> bool:
        """Whether it is known not to act: bad news, as against no news."""
        return self in _DOWN


# Asked a hundred thousand times in a judgement of years: not made anew each time.
_STANDS = (State.PROVEN, State.DUE)
_DOWN = (State.NOT_FITTED, State.FAILED, State.INTERMITTENT)


class Standing(StrEnum):
    """One boiler's state on the status board, worst first; the last two stand apart."""

    HOLD = "hold"
    EXPOSED = "exposed"
    IMPAIRED = "impaired"
    DUE = "due"
    CLEAR = "clear"
    NOT_SURVEYED = "not_surveyed"
    OFF = "off"

    @property
    def rank(self) -> int:
        """0 for the worst; boards sort by it."""
        return tuple(Standing).index(self)


class Level(StrEnum):
    """The class of a deficiency, worst first."""

    HOLD = "hold"
    URGENT = "urgent"
    ROUTINE = "routine"


STANDINGS, LEVELS = values_of(Standing), values_of(Level)  # worst first


def worst_level(levels: Iterable[str]) -> str:
    """Return the worst of some classes, of which there must be one."""
    present_levels = set(levels)
    return next(level for level in LEVELS if level in present_levels)


class FiringAnswer(StrEnum):
    """What a visit that had the boiler in hand answers to *What stands against firing it?* No answer permits firing."""

    SOMETHING_DOES = "something_does"
    NOTHING_FOUND = "nothing_found_by_this_visit"
    NOT_EXAMINED = "not_examined"

    @property
    def is_open(self) -> bool:
        """Whether something stands against firing, or nobody knows: it holds until a later visit answers."""
        return self is not FiringAnswer.NOTHING_FOUND


FIRING_ANSWERS = values_of(FiringAnswer)


@dataclass(frozen=True, slots=True)
class Reason:
    """Why: the rule that fired, where, on which entry, since when, and the same in one plain sentence."""

    rule: str
    sentence: str
    hazard: str = ""
    position: UUID | None = None
    entry: UUID | None = None
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class EntryVerdict:
    """What one entry is worth, with the limit, set point and source it was judged by."""

    entry: UUID
    outcome: str
    sentence: str
    grade: str = ""
    proves: str = ""
    limit: str = ""
    set_value: float | None = None
    source: str = ""
    question: str = ""
    relayed_from: tuple[UUID, ...] = ()  # operators on whose word alone, told to the poster, this pass counts


@dataclass(frozen=True, slots=True)
class JudgedFinding:
    """The rule that fired in a visit and the entries it rests on."""

    visit: UUID
    rule: str
    position: UUID | None
    entries: tuple[UUID, ...]
    level: Level
    sentence: str
    first_act: str


@dataclass(frozen=True, slots=True)
class LevelSegment:
    """A deficiency's class from an instant to another (None: no end known)."""

    since: datetime
    until: datetime | None
    level: Level


def deficiency_id(boiler: UUID, position: UUID | None, rule: str, episode: int) -> UUID:
    """Return the id of an episode. It follows from what the episode is, so alerts can name it before it is stored."""
    return uuid5(boiler, f"{position} {rule} {episode}")


def paper_id(boiler: UUID, kind: str) -> UUID:
    """Return what an alert about a boiler's papers of one kind is about."""
    return uuid5(boiler, f"paper {kind}")


@dataclass(frozen=True, slots=True)
class JudgedDeficiency:
    """One episode of a rule at a position: opened, perhaps said to be repaired, closed only by its proof."""

    position: UUID | None
    rule: str
    episode: int
    opened_at: datetime
    entry: UUID | None
    levels: tuple[LevelSegment, ...]
    sentence: str
    clears_by: tuple[str, ...]
    repaired_at: datetime | None = None
    closed_at: datetime | None = None
    closed_by: UUID | None = None


@dataclass(frozen=True, slots=True)
class PositionStateSegment:
    """One position's state from an instant to another."""

    position: UUID
    since: datetime | None
    until: datetime | None
    state: State
    reason: Reason
    marks: tuple[str, ...] = ()
    remind_at: datetime | None = None  # when somebody is told, where that is later than `since`
    full_due: datetime | None = None  # when its full proof is due by time alone


@dataclass(frozen=True, slots=True)
class StandingSegment:
    """The boiler's standing from an instant to another, never without a reason; `then` is the next thing to do."""

    since: datetime | None
    until: datetime | None
    standing: Standing
    reasons: tuple[Reason, ...]
    then: str = ""
    bare: tuple[str, ...] = ()  # hazards against which nothing stands, or whose last line does not


@dataclass(frozen=True, slots=True)
class MissingItem:
    """What stands against firing the boiler, is not known, or was not looked at, with the date it was last proven."""

    what: str
    sentence: str
    position: UUID | None = None
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class ReadinessAnswer:
    """What stands against firing the boiler after one visit. Advice to a qualified person, never a permission.

    `missing` lists what stands against it or, where the answer is *not examined*, what nobody knows.
    """

    visit: UUID
    at: datetime  # when the visit was performed
    answer: FiringAnswer
    missing: tuple[MissingItem, ...]
    not_looked_at: tuple[MissingItem, ...]


@dataclass(frozen=True, slots=True)
class ConditionStep:
    """What a condition says from an instant on; `is_raised`: a visit brought a further cause, so it is raised anew."""

    at: datetime
    sentence: str
    is_raised: bool = False


@dataclass(frozen=True, slots=True)
class Condition:
    """Something that holds from `since` to `until` and that somebody should know.

    `sentence` is what it said when it began; `steps`, in order, what it says later. `lines`: what else stood
    against firing when the visit ended that brought it.
    """

    condition: str
    subject: UUID
    since: datetime
    until: datetime | None
    level: Level
    sentence: str
    steps: tuple[ConditionStep, ...] = ()
    lines: tuple[str, ...] = ()

    def sentence_at(self, at: datetime) -> str:
        """What it says at an instant."""
        return next((s.sentence for s in reversed(self.steps) if s.at <= at), self.sentence)

    def times_raised(self, at: datetime) -> int:
        """How often it was raised by an instant: once when it began, and anew for each further cause."""
        return 1 + sum(s.is_raised and s.at <= at for s in self.steps)


@dataclass(frozen=True, slots=True)
class HeatEvidence:
    """One boiler's word on heat, from which the conditions of its building follow.

    `absent`: it heats nothing (by the register, or laid up), so nobody counts on it. `cold`: on hold, locked out or off
    by its newest entry. `seasons`: when the building is to be heated. `calls`: ends of no-heat calls that did not leave
    it firing. `lit`: ends of visits that left it firing or on call.
    """

    absent: tuple[Span, ...] = ()
    cold: tuple[Span, ...] = ()
    seasons: tuple[Span, ...] = ()
    calls: tuple[datetime, ...] = ()
    lit: tuple[datetime, ...] = ()


@dataclass(frozen=True, slots=True)
class GlassLevel:
    """How long the full proofs carry with no news, and the work that a caretaker does every week.

    `exposed_at` is when the first hazard that stops firing stands without a protection that is proven in full: at
    `position`, whose proof of `proved_at` (None: there is none, nothing is left) is to be renewed from `due_at` on.
    Missed operator proofs count in the standing, not here; they are `tick`: proven, and due again.
    """

    hazard: str
    position: UUID
    exposed_at: datetime
    proved_at: datetime | None = None
    due_at: datetime | None = None
    procedure: str = ""
    tick_proved_at: datetime | None = None
    tick_due_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class WaitingPaper:
    """A paper of others whose good news would end a hold or a tag, and the sentences of what it lacks for that."""

    visit: UUID
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WaitingNames:
    """A visit that names people who have not confirmed it, and the qualifications that it counts with meanwhile."""

    visit: UUID
    people: tuple[UUID, ...]
    counts_as: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Everything that follows from one boiler's evidence. `anchor` is the newest entry's instant."""

    verdicts: tuple[EntryVerdict, ...]
    findings: tuple[JudgedFinding, ...]
    deficiencies: tuple[JudgedDeficiency, ...]
    states: tuple[PositionStateSegment, ...]
    standings: tuple[StandingSegment, ...]
    readiness: tuple[ReadinessAnswer, ...]
    conditions: tuple[Condition, ...]
    waiting: tuple[UUID, ...]  # corrections without effect until a second qualified person stands behind them
    anchor: datetime | None
    heat: HeatEvidence = HeatEvidence()
    surveyed_at: datetime | None = None  # when the first visit with a qualified technician ended
    glass: GlassLevel | None = None  # None before the survey, and where no proof ever ends by time alone
    waiting_papers: tuple[WaitingPaper, ...] = ()
    waiting_names: tuple[WaitingNames, ...] = ()

    def standing_at(self, at: datetime) -> StandingSegment:
        """The standing that holds at `at`; the last one has no end."""
        return next(s for s in self.standings if s.until is None or at < s.until)
