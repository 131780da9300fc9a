"""The running account of one boiler while its evidence is replayed in order: one record per position."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from math import isfinite
from uuid import UUID

from fleet.rules.catalogue import Catalogue, ProcedureSpec, RoleSpec
from fleet.rules.ledger.asked import AskedCause, BlindedByPath, GapsSince, LockOn, OwedTest, PressureOverrun
from fleet.rules.ledger.episodes import EpisodeCase, OutstandingTouch, PassedProof, WaitingGoodNews
from fleet.rules.ledger.meters import MeterHistory
from fleet.rules.needed_roles import PlaceOnRecord, cutoffs_needed, may_be_left_out
from fleet.rules.values import (
    EntryFact,
    Evidence,
    LawInForce,
    PositionFact,
    PositionStateSegment,
    ServiceMode,
    Value,
    VisitFact,
    as_number,
)

STAMPED_FIGURES = {"safety_valve": "capacity_lb_h", "burner": "input_btu_h"}  # what the valves' need is worked out from
MAX_PATHS = 16  # deeper than any real piping; a register with a loop is refused long before


@dataclass(slots=True)
class PositionSnapshot:
    """What was known of one position from an instant on: all that `states` needs. Equal is what says the same.

    Never changed, yet not frozen: several are made for every entry, and a frozen one takes three times as long to make.
    """

    at: datetime | None = field(compare=False)
    kind: str
    on_record: bool
    needed: bool
    fitted_at: datetime | None
    down: tuple[EpisodeCase, ...]
    blocked: tuple[EpisodeCase, ...]
    intermittent: bool
    blind: tuple[BlindedByPath, ...]
    touches: tuple[OutstandingTouch, ...]
    proofs: tuple[tuple[str, datetime], ...]
    declared: tuple[tuple[str, date], ...]
    doubted: PassedProof | None = None  # its newest pass, where that is in doubt
    figure: float | None = None  # on its stamp or plate, by `STAMPED_FIGURES`
    end_of_life: date | None = None  # the last day its maker stands for it; only an alarm has one
    operator_due_at: datetime | None = None  # from a return to service on, operator proofs from before it are due


@dataclass(frozen=True, slots=True)
class StateSection:
    """The states between two snapshots, and the sentences of the episodes they were said with."""

    episode_sentences: tuple[str, ...]
    segments: tuple[PositionStateSegment, ...]


@dataclass(slots=True)
class PositionRecord:
    """One position while the evidence is replayed."""

    position: PositionFact
    role: RoleSpec
    device: UUID | None = None
    kind: str = ""
    fitted_at: datetime | None = None
    attributes: Mapping[str, Value] = field(default_factory=dict)
    settings: dict[str, Value] = field(default_factory=dict)
    read_back: dict[str, float] = field(default_factory=dict)  # set points as last read, until they are set anew
    paths: tuple[UUID, ...] = ()
    on_record: bool = True  # False before the day from which the register names the place
    needed: bool = False
    passes: list[PassedProof] = field(default_factory=list)
    proofs: dict[str, datetime] = field(default_factory=dict)  # of each procedure the newest pass not in doubt
    declared: dict[str, date] = field(default_factory=dict)
    checked: int | None = None  # the entry, in order, of its last proof here, or of a gauge's last zero check
    fitted_order: int = 0  # how many entries there were when it was fitted
    jumper: UUID | None = None  # the entry that fitted one, while it is on
    touches: dict[str, OutstandingTouch] = field(default_factory=dict)
    blind: dict[UUID, BlindedByPath] = field(default_factory=dict)
    cases: list[EpisodeCase] = field(default_factory=list)
    live: list[EpisodeCase] = field(default_factory=list)  # of `cases` those not yet seen closed
    last_trip_in: float | None = None
    first_trip_in: float | None = None  # as it was left by the first visit that read one
    first_trip_visit: UUID | None = None
    operator_due_at: datetime | None = None  # as in `PositionSnapshot`
    # What `ReplayLedger.paths_of` and `hanging_on` found since the piping changed.
    above: list["PositionRecord"] | None = field(default=None, compare=False, repr=False)
    hanging: list["PositionRecord"] | None = field(default=None, compare=False, repr=False)

    def open_cases(self) -> list[EpisodeCase]:
        """The episodes here that nothing has closed; those closed long ago are not walked again."""
        if self.live:
            self.live = [c for c in self.live if c.is_open]
        return list(self.live)

    def end_of_life(self) -> date | None:
        """The last day stamped on it; None where there is none, or what is written is no date."""
        last_day = self.attributes.get("end_of_life")
        try:
            return date.fromisoformat(last_day) if isinstance(last_day, str) else None
        except ValueError:
            return None

    def reference_trip_in(self) -> float | None:
        """The height a cutoff should trip at, in inches over the glass's bottom: its maker's mark, else its first."""
        mark = self.numeric_setting("trip_in")
        return self.first_trip_in if mark is None else mark

    def newest_set_point(self, key: str) -> float | None:
        """A set point as it was last read back, else as it is on record."""
        read = self.read_back.get(key)
        return self.numeric_setting(key) if read is None else read

    def numeric_setting(self, key: str) -> float | None:
        """A numeric set point, from the dated settings or else from what is stamped on the device."""
        value = as_number(self.settings.get(key, self.attributes.get(key)))
        return value if value is not None and isfinite(value) else None


@dataclass(slots=True)
class EntryTrace:
    """One entry that was replayed, with what a test came to. Never changed, as `PositionSnapshot`."""

    visit: VisitFact
    entry: EntryFact
    outcome: str


@dataclass(slots=True)
class ReplayLedger:
    """All records of the boiler, the law they are read by just then, and what the replay concluded on the way."""

    evidence: Evidence
    law: LawInForce
    records: dict[UUID, PositionRecord]
    boiler: dict[str, Value] = field(default_factory=dict)
    service: ServiceMode | None = None
    general: list[EpisodeCase] = field(default_factory=list)
    trail: list[EntryTrace] = field(default_factory=list)
    outcomes: dict[UUID, str] = field(default_factory=dict)  # of each test, by entry
    meters: dict[UUID, MeterHistory] = field(default_factory=dict)  # each make-up meter, as read so far
    live: list[EpisodeCase] = field(default_factory=list)  # of `general` those not yet seen closed
    episodes: dict[tuple[UUID | None, str], int] = field(default_factory=dict)  # begun so far, by place and rule
    owed: dict[str, OwedTest] = field(default_factory=dict)  # by procedure
    reaches_all: bool = False  # whether the entry just applied changed a place beyond the reach of a test
    lock: LockOn | None = None
    overruns: dict[tuple[str, UUID], list[PressureOverrun]] = field(default_factory=dict)  # by rule and place
    unseen_lines: dict[UUID, UUID] = field(default_factory=dict)  # entries that saw no line in the glass: their visits
    asked_causes: dict[UUID, AskedCause] = field(default_factory=dict)  # by place
    waiting_papers: dict[UUID, list[WaitingGoodNews]] = field(default_factory=dict)  # of papers, by visit
    paper_passes: dict[tuple[UUID, str, datetime], str] = field(default_factory=dict)  # whose paper a pass rests on
    register_asked: bool = False  # whether the register was posted whole, so that what it leaves out is missed
    gaps: list[GapsSince] = field(default_factory=list)  # what it left out, from each instant at which that changed

    @property
    def catalogue(self) -> Catalogue:
        """The release in force where the replay stands."""
        return self.law.catalogue

    @property
    def entry_order(self) -> int:
        """The place of the entry being applied among all entries, from 1 on; several may share an instant."""
        return len(self.trail) + 1

    def all_cases(self) -> Iterator[EpisodeCase]:
        """Every episode, open or closed, of every position and of the boiler as a whole."""
        yield from self.general
        for record in self.records.values():
            yield from record.cases

    def open_cases(self) -> Iterator[EpisodeCase]:
        """Every open episode, in the order of `all_cases`."""
        yield from self.open_at(None)
        for record in self.records.values():
            if record.live:
                yield from record.open_cases()

    def open_at(self, place: PositionRecord | None) -> list[EpisodeCase]:
        """The open episodes of a position, or those of the boiler as a whole."""
        if place is not None:
            return place.open_cases()
        if self.live:
            self.live = [c for c in self.live if c.is_open]
        return list(self.live)

    def file_case(self, place: PositionRecord | None, case: EpisodeCase) -> None:
        """File a new episode where it belongs."""
        for filed in (self.general, self.live) if place is None else (place.cases, place.live):
            filed.append(case)
        self.episodes[case.position, case.rule.code] = case.episode

    def drop_time_cases(self) -> None:
        """Take back the episodes that time alone brought: facts to come are replayed as if nobody had looked yet."""
        for record in self.records.values():
            for case in [c for c in record.cases if c.by_time]:
                self.episodes[case.position, case.rule.code] -= 1
            record.cases = [c for c in record.cases if not c.by_time]
            record.live = [c for c in record.live if not c.by_time]
        for case in [c for c in self.general if c.by_time]:
            self.episodes[case.position, case.rule.code] -= 1
        self.general, self.live = ([c for c in cases if not c.by_time] for cases in (self.general, self.live))

    def cutoffs_needed(self) -> int:
        """2, or 1 where the register says so."""
        return cutoffs_needed(self.boiler)

    def is_needed(self, record: PositionRecord) -> bool:
        """Whether a protection here is counted on: it is on record, and nothing spares it."""
        return record.on_record and not self.is_spared(record) and (record.needed or not self._may_be_empty(record))

    def _may_be_empty(self, record: PositionRecord) -> bool:
        """Whether *needed: no* is heard here. A device that is fitted is counted on, and must be proven."""
        if record.role.part != "protection":
            return True
        other_records = [r for r in self.records.values() if r is not record and r.on_record and not record.device]
        places = [PlaceOnRecord(r.role.code, r.kind) for r in other_records if r.needed or r.device]
        return may_be_left_out(self.catalogue, self.boiler, record.role.code, places)

    def share_a_chamber(self, record: PositionRecord, second_record: PositionRecord) -> bool:
        """Whether two positions hang on one float chamber."""
        chamber_ids = {p.position.id for p in self.paths_of(record) if p.role.code == "float_chamber"}
        return any(p.position.id in chamber_ids for p in self.paths_of(second_record))

    def forget_piping(self) -> None:
        """Forget what hangs on what: the register says it anew."""
        for record in self.records.values():
            record.above = record.hanging = None

    def paths_of(self, record: PositionRecord) -> list[PositionRecord]:
        """Every path the position hangs on, directly or through another path."""
        if record.above is None:
            record.above = self._walk_paths(record)
        return record.above

    def _walk_paths(self, record: PositionRecord) -> list[PositionRecord]:
        paths: dict[UUID, PositionRecord] = {}
        waiting = list(record.paths)
        while waiting and len(paths) < MAX_PATHS:
            path = self.records.get(waiting.pop())
            if path is not None and path.position.id not in paths:
                paths[path.position.id] = path
                waiting.extend(path.paths)
        return list(paths.values())

    def hanging_on(self, path: PositionRecord) -> list[PositionRecord]:
        """Every position whose signal this path carries."""
        if path.hanging is None:
            other_records = [r for r in self.records.values() if r is not path]
            path.hanging = [r for r in other_records if any(p is path for p in self.paths_of(r))]
        return path.hanging

    def is_undisturbed(self, record: PositionRecord) -> bool:
        """Whether nothing is open here or on a path: a test that fires and opens nothing then changes no more."""
        return not record.live and not any(p.live for p in self.paths_of(record))

    def records_in_reach(self, record: PositionRecord, undisturbed: bool) -> dict[UUID, PositionRecord]:
        """Whatever a test here can change: the position, its paths, and all that hangs on it or on them."""
        if undisturbed:
            return {record.position.id: record}
        near = [record, *self.paths_of(record)]
        return {r.position.id: r for place in near for r in (place, *self.hanging_on(place))}

    def chamber_of(self, record: PositionRecord) -> PositionRecord:
        """The float chamber the position sits in; the position itself where the register names none."""
        return next((p for p in self.paths_of(record) if p.role.code == "float_chamber"), record)

    def lowest_setting(self, role: str, key: str) -> float | None:
        """The lowest set point of one role on this boiler: the ladder is only as high as its lowest rung."""
        values = [r.numeric_setting(key) for r in self.records.values() if r.role.code == role and r.device]
        return min((v for v in values if v is not None), default=None)

    def take_snapshot(self, record: PositionRecord, at: datetime | None) -> PositionSnapshot:
        """Freeze what is known of one position."""
        # Looked at for every entry: what is empty is not walked.
        down = tuple(c for c in record.open_cases() if c.down) if record.live else ()
        failing, stamped = [p for p in self.paths_of(record) if p.live], STAMPED_FIGURES.get(record.role.code)
        return PositionSnapshot(
            at=at,
            kind=record.kind if record.device else "",
            on_record=record.on_record,
            needed=self.is_needed(record),
            fitted_at=record.fitted_at,
            down=down,
            blocked=tuple(c for p in failing for c in p.open_cases() if c.down) if failing else (),
            intermittent=bool(down) and all(c.passes for c in down),
            blind=tuple(record.blind.values()),
            touches=tuple(record.touches.values()),
            proofs=tuple(sorted(record.proofs.items())),
            declared=tuple(sorted(record.declared.items())),
            doubted=record.passes[-1] if record.passes and record.passes[-1].doubtful else None,
            figure=record.numeric_setting(stamped) if record.device and stamped else None,
            end_of_life=record.end_of_life() if record.device and "end_of_life" in record.attributes else None,
            operator_due_at=record.operator_due_at,
        )

    def is_spared(self, record: PositionRecord) -> bool:
        """One cutoff is needed: the one that locks out; an upper one beside it is welcome and not counted on."""
        if record.role.code != "upper_cutoff" or self.cutoffs_needed() != 1:
            return False
        return any(r.role.code == "lower_cutoff" and r.device for r in self.records.values())


@dataclass(slots=True)
class GradingBench:
    """What a grader may look at: one test, its procedure, the record it was done on and the whole ledger.

    Never changed, as `PositionSnapshot`.
    """

    visit: VisitFact
    entry: EntryFact
    procedure: ProcedureSpec
    record: PositionRecord
    ledger: ReplayLedger

    @property
    def name(self) -> str:
        """The position's name as people say it."""
        return self.record.position.name

    def yes_or_no_reading(self, name: str) -> bool | None:
        """A yes-or-no reading, None where it was not taken."""
        value = self.entry.readings.get(name)
        return value if isinstance(value, bool) else None

    def number_reading(self, name: str) -> float | None:
        """A measured reading, None where it was not taken or is no number: every comparison with one is false."""
        value = as_number(self.entry.readings.get(name))
        return value if value is not None and isfinite(value) else None

    def choice_reading(self, name: str) -> str:
        """A chosen reading, '' where it was not taken."""
        value = self.entry.readings.get(name)
        return value if isinstance(value, str) else ""
