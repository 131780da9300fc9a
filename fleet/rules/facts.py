"""What `judge` is given: one boiler's facts, plain, frozen, comparable. Instants are aware datetimes in UTC."""

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from functools import cached_property
from itertools import zip_longest
from uuid import UUID

from fleet.calendar import HeatingSeason, Interval, day_of
from fleet.rules.catalogue import Catalogue, ProcedureSpec, RoleSpec

Value = bool | float | str | None

# Qualifications to say what ails a boiler; a trade that knows one part of it, as backflow, is none of them.
JUDGES_BOILERS = frozenset({"technician", "fire_side", "inspector"})


def as_number(value: object) -> float | None:
    """Return a value as a number, None where it is none. Yes and no are not 1 and 0."""
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None


class ServiceMode(StrEnum):
    """Service states of a boiler; the first two run every clock."""

    IN_SERVICE = "in_service"
    HOT_STANDBY = "hot_standby"
    LAID_UP_WET = "laid_up_wet"
    LAID_UP_DRY = "laid_up_dry"
    ISOLATED = "isolated"
    NOT_COMMISSIONED = "not_commissioned"
    RETIRED = "retired"

    @property
    def runs(self) -> bool:
        """Whether the boiler may fire, so that its clocks run."""
        return self in (ServiceMode.IN_SERVICE, ServiceMode.HOT_STANDBY)


@dataclass(frozen=True, slots=True, order=True)
class Moment:
    """A place in the total order of evidence: entry's performed_at, visit id, entry number."""

    at: datetime
    visit: UUID
    number: int


@dataclass(frozen=True, slots=True)
class PositionFact:
    """A place on a boiler (or its header group) that a device fills; a needed one must hold a standing device.

    Before `since` the register does not name the place and says nothing of it. None: it was always on record.
    """

    id: UUID
    ref: str
    name: str
    role: str
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class FittingFact:
    """From the register: this device filled this position from an instant on (None: emptied it)."""

    position: UUID
    device: UUID | None
    kind: str
    since: datetime
    attributes: Mapping[str, Value] = field(default_factory=dict)
    declared: Mapping[str, date] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SettingFact:
    """From the register: a dated value of a position (set point, paths, needed) or, without position, the boiler."""

    position: UUID | None
    key: str
    value: Value | tuple[UUID, ...]
    since: datetime


@dataclass(frozen=True, slots=True)
class RegisterPosted:
    """The boiler's register was posted: from then on it is asked for what it leaves out."""

    at: datetime


@dataclass(frozen=True, slots=True)
class ServiceChange:
    """The boiler's service state from an instant on.

    `fired_while` is the state on record where no register says it: the boiler fires by somebody's word.
    """

    state: ServiceMode
    since: datetime
    fired_while: ServiceMode | None = None


@dataclass(frozen=True, slots=True)
class EntryFact:
    """One line of a visit in the order done. `act` is test, action, replace, fit, remove, set or observe."""

    id: UUID
    number: int
    act: str
    code: str
    position: UUID | None
    at: datetime
    phase: str = ""
    outcome: str = ""
    why: str = ""
    readings: Mapping[str, Value] = field(default_factory=dict)
    device: UUID | None = None
    kind: str = ""
    values: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OthersPaper:
    """A paper of a valve shop, inspector, backflow tester or utility, on which a visit's entries rest.

    Unlike a `PaperFact` it tells what was tested, not until when something is allowed.
    """

    body: str
    name: str
    number: str
    dated_on: date


@dataclass(frozen=True, slots=True)
class UnconfirmedName:
    """Somebody whom another's post names and who has not said yet that it was so; what his word would add to it."""

    person: UUID
    qualifications: frozenset[str]


@dataclass(frozen=True, slots=True)
class VisitFact:
    """People at one boiler, once. `qualifications` are those held at performed_at by whoever stands behind the visit.

    Its poster does, and of the others named whoever seconded it. The desk relays what an operator told it.
    Entries that rest on a `paper` bring the good news of its body alone; its visit has no `qualifications`.
    """

    id: UUID
    kind: str
    at: datetime
    posted_at: datetime
    entries: tuple[EntryFact, ...]
    qualifications: frozenset[str] = frozenset()
    state_on_arrival: str = "unknown"
    left_as: str = ""
    leaving_checks: Mapping[str, Value] = field(default_factory=dict)
    corrects: UUID | None = None  # the visit it restates as a whole
    void: bool = False  # a correction that says the visit never was
    seconded: bool = False  # a second qualified person stands behind the correction or the paper
    of_this_boiler: bool = (
        True  # False: another boiler's visit, of which only the entries on the shared positions are here
    )
    paper: OthersPaper | None = None
    unconfirmed: tuple[UnconfirmedName, ...] = ()
    relayed_from: tuple[UUID, ...] = ()  # operators whose word counts only as they told it to the poster, at the desk

    @property
    def may_judge_boiler(self) -> bool:
        """Whether somebody behind it may say what ails a boiler: no operator, no trade that knows one part alone."""
        return bool(self.qualifications & JUDGES_BOILERS)

    @property
    def good_news_from(self) -> frozenset[str]:
        """Qualifications whose passes count: of a paper its body's, else those of who stands behind the visit."""
        return frozenset({self.paper.body}) if self.paper else self.qualifications


@dataclass(frozen=True, slots=True)
class Override:
    """A portfolio's own written interval for one procedure, shown with its source."""

    interval: Interval
    anchor: str
    grace_days: int
    source: str


@dataclass(frozen=True, slots=True)
class AdoptedTerms:
    """What the portfolio adopted, from an instant on; the first terms reach back over all time."""

    since: datetime | None
    season: HeatingSeason | None
    urgent_days: int = 7
    due_soon_days: int = 14
    operator_firing_days: int = 30
    variants: Mapping[str, str] = field(default_factory=dict)  # procedure code → variant adopted
    overrides: Mapping[str, Override] = field(default_factory=dict)
    gauge_most_psi: float = 60.0  # the widest gauge range allowed (HG-602(a), from memory)
    relief_rule: str = "output_only"  # or "greater_of": the heating surface's table too (S7, S10, S11)


@dataclass(frozen=True, slots=True)
class PaperFact:
    """A dated paper of the boiler or its building, as a certificate; a newer one of its kind takes its place."""

    kind: str
    name: str
    since: datetime
    until: date


@dataclass(frozen=True, slots=True)
class CatalogueEdition:
    """A later release of the catalogue, from a local midnight on; what was done before it is judged by the older."""

    since: datetime
    catalogue: Catalogue


@dataclass(frozen=True, slots=True)
class LawInForce:
    """By what something is judged at an instant: the portfolio's terms and the catalogue's release in force."""

    since: datetime | None
    terms: AdoptedTerms
    catalogue: Catalogue


@dataclass(frozen=True)
class Evidence:
    """All facts about one boiler, in no particular order: `judge` orders them.

    `catalogue` is the first release, which reaches back over all time; `editions` are the later ones. `register` says
    when the boiler's register was posted. None: only a part of it is told here, and nobody asks for the rest.
    """

    boiler: UUID
    name: str
    zone: str
    catalogue: Catalogue
    terms: tuple[AdoptedTerms, ...]
    positions: tuple[PositionFact, ...]
    fittings: tuple[FittingFact, ...] = ()
    settings: tuple[SettingFact, ...] = ()
    services: tuple[ServiceChange, ...] = ()
    header_services: tuple[tuple[ServiceChange, ...], ...] = ()  # of each other boiler on its header
    visits: tuple[VisitFact, ...] = ()
    editions: tuple[CatalogueEdition, ...] = ()
    papers: tuple[PaperFact, ...] = ()
    register: RegisterPosted | None = None

    @cached_property
    def positions_by_id(self) -> Mapping[UUID, PositionFact]:
        """Positions by id."""
        return {p.id: p for p in self.positions}

    def header_in_service_at(self, at: datetime) -> bool:
        """Return whether another boiler of its header was in service: its steam may stand in this one."""
        return any(_runs_at(changes, at) for changes in self.header_services)

    def terms_at(self, at: datetime | None) -> AdoptedTerms:
        """Return the terms in force at an instant (None: the beginning of time). The first reach back to it."""
        return self.law_at(at).terms

    def catalogue_at(self, at: datetime | None) -> Catalogue:
        """Return the release in force at an instant (None: the beginning of time)."""
        return self.law_at(at).catalogue

    def law_at(self, at: datetime | None) -> LawInForce:
        """Return terms and release in force at an instant (None: the beginning of time)."""
        return self.laws[bisect_right(self._law_starts, at) if at else 0]

    @cached_property
    def _law_starts(self) -> list[datetime]:
        return [law.since for law in self.laws[1:] if law.since]

    @cached_property
    def laws(self) -> tuple[LawInForce, ...]:
        """Terms and release together, in order, each until the next begins; the first is in force from ever."""
        terms = sorted(self.terms, key=lambda t: (t.since is not None, t.since))
        editions = sorted(self.editions, key=lambda e: (e.since, e.catalogue.release))
        starts = sorted({t.since for t in terms[1:] if t.since} | {e.since for e in editions})
        laws = []
        for since in (None, *starts):
            terms_in_force = [t for t in terms[1:] if since and t.since and t.since <= since] or terms[:1]
            releases = [e.catalogue for e in editions if since and e.since <= since] or [self.catalogue]
            laws.append(LawInForce(since, terms_in_force[-1], releases[-1]))
        return tuple(laws)

    def laws_between(
        self, since: datetime | None, until: datetime | None
    ) -> Iterator[tuple[datetime | None, datetime | None, LawInForce]]:
        """Cut a span (None: no bound) where the portfolio's terms or the catalogue's release change."""
        for law, following in zip_longest(self.laws, self.laws[1:]):
            begin = law.since if since is None or (law.since and law.since > since) else since
            end = min((t for t in (until, following.since if following else None) if t), default=None)
            if begin is None or end is None or begin < end:
                yield begin, end, law

    def procedure_by_code(self, code: str) -> ProcedureSpec:
        """Return a procedure from the newest release that has it. A code is retired, never reused."""
        return self._procedures[code]

    @cached_property
    def _procedures(self) -> Mapping[str, ProcedureSpec]:
        return {code: procedure for law in self.laws for code, procedure in law.catalogue.procedures.items()}

    @cached_property
    def firing_days(self) -> list[tuple[date, date | None]]:
        """Building days with any part in service or hot standby, as half-open spans; no word of it means in service."""
        changes = sorted(self.services, key=lambda s: (s.since, s.state))
        if not changes:
            return [(date.min, None)]
        spans: list[tuple[date, date | None]] = [(date.min, _day_after(changes[0].since, self.zone))]
        for change, following in zip_longest(changes, changes[1:]):
            if change.state.runs:
                end = _day_after(following.since, self.zone) if following else None
                spans.append((day_of(change.since, self.zone), end))
        return spans

    def role_by_code(self, code: str) -> RoleSpec:
        """Return a role from the newest release that has it."""
        return next(law.catalogue.roles[code] for law in reversed(self.laws) if code in law.catalogue.roles)


def _runs_at(changes: tuple[ServiceChange, ...], at: datetime) -> bool:
    past = [c for c in sorted(changes, key=lambda c: (c.since, c.state)) if c.since <= at]
    return past[-1].state.runs if past else True


def _day_after(at: datetime, zone: str) -> date:
    """Return the day after the last one that has any part before `at`."""
    return day_of(at - timedelta(microseconds=1), zone) + timedelta(days=1)


@dataclass(frozen=True, slots=True)
class ActFact:
    """A human decision about a deficiency or alert: it never changes a verdict, state or standing."""

    kind: str
    subject: UUID
    at: datetime
    until: datetime | None = None
