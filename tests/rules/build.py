"""The cast of the rules' tests: one boiler in an invented street, and a short way to write its visits down."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Self
from uuid import UUID, uuid5

from fleet.calendar import HeatingSeason
from fleet.catalog.parse import read_release
from fleet.rules import judge
from fleet.rules.catalogue import Catalogue
from fleet.rules.ledger.records import GradingBench
from fleet.rules.replay.evidence_replay import replay_evidence
from fleet.rules.timeline.states import state_segments
from fleet.rules.values import (
    AdoptedTerms,
    EntryFact,
    EntryVerdict,
    Evidence,
    FittingFact,
    JudgedDeficiency,
    JudgedFinding,
    Judgement,
    PositionFact,
    PositionStateSegment,
    ReadinessAnswer,
    ServiceChange,
    ServiceMode,
    SettingFact,
    Standing,
    StandingSegment,
    State,
    Value,
    VisitFact,
)

HERE = UUID("5f2c8a30-5d3e-4a6e-9a51-000000000001")
ZONE = "America/New_York"
SEASON = HeatingSeason(10, 1, 5, 15)
FITTED = datetime(2025, 9, 1, 12, tzinfo=UTC)
START = datetime(2025, 10, 15, 13, tzinfo=UTC)  # 9 in the morning at the building; day 0 of every story

# ref, name, role, kind, path, what is stamped on it
CAST: tuple[tuple[str, str, str, str, str, Mapping[str, Value]], ...] = (
    ("chamber", "float chamber", "float_chamber", "float_chamber", "", {}),
    ("upper", "upper cutoff", "upper_cutoff", "float_cutoff", "chamber", {"reset": "auto"}),
    ("lower", "lower cutoff", "lower_cutoff", "probe_cutoff", "", {"reset": "manual"}),
    ("siphon_a", "control's siphon", "siphon", "siphon", "", {}),
    ("siphon_b", "limit's siphon", "siphon", "siphon", "", {}),
    ("control", "operating control", "operating_control", "operating_control", "siphon_a", {"cut_out_psi": 2.0}),
    ("limit", "high limit", "high_limit", "limit_control", "siphon_b", {"set_psi": 8.0}),
    ("valve", "safety valve", "safety_valve", "safety_valve", "", {"set_psi": 15.0}),
)

GOOD: dict[str, Mapping[str, Value]] = {
    "flush": {"burner_firing": True, "water": "runs", "burner_stopped": True, "recovery": "prompt"},
    "slow_drain": {"burner_firing": True, "burner_stopped": True, "trip_in": 2.5},
    "operating_control_trip": {"trip_psi": 2.0, "cycles": 3.0},
    "limit_trip": {
        "trip_psi": 7.8,
        "stayed_off_minutes": 4.0,
        "psi_when_checked": 2.1,
        "call_on": True,
        "restarted_by_hand": True,
        "set_psi_read_back": 8.0,
    },
    "limit_calibration": {"trip_psi": 8.0, "by": "raised"},
    "lever_lift": {"gauge_psi": 6.0, "lifted": True, "discharged": True, "after_lift": "tight"},
    "siphon_check": {"passes_water": True},
    "chamber_open_inspect": {"found_clean": True},
    "button_test": {"burner_stopped": True},
}

FULL = {
    "chamber": "chamber_open_inspect",
    "upper": "slow_drain",
    "lower": "slow_drain",
    "siphon_a": "siphon_check",
    "siphon_b": "siphon_check",
    "control": "operating_control_trip",
    "limit": "limit_trip",
    "valve": "lever_lift",
}

LEFT_RIGHT: Mapping[str, Value] = dict.fromkeys(
    (
        "jumpers_off",
        "set_points_read",
        "feed_open",
        "drains_shut",
        "glass_cocks_open",
        "resets_in",
        "water_at_line",
        "tags_accounted",
        "told",
    ),
    True,
)


@cache
def catalogue() -> Catalogue:
    """The catalogue that comes with the code."""
    return read_release(Path(__file__).resolve().parents[2] / "fixtures" / "catalogue", 1)[1]


def ident(name: str) -> UUID:
    """The id of a thing of the cast."""
    return uuid5(HERE, name)


def at(days: float = 0.0, start: datetime = START) -> datetime:
    """An instant so many days after day 0."""
    return start + timedelta(days=days)


def good(code: str, ref: str) -> dict[str, Value]:
    """Readings that prove what the procedure can prove at that place."""
    readings = dict(GOOD["slow_drain" if code == "evaporation" else code])
    if ref == "lower" and code in ("slow_drain", "evaporation"):
        readings |= {"trip_in": 1.5, "locked_out": True}
    return readings


def proof(ref: str, code: str = "", outcome: str = "pass", **readings: Value) -> EntryFact:
    """A test with good readings, but for those given; by default the full proof of the place. None leaves one out."""
    code = code or FULL[ref]
    told = {k: v for k, v in (good(code, ref) | readings).items() if v is not None}
    return _line("test", code, ref, outcome=outcome, readings=told)


def act(ref: str, code: str) -> EntryFact:
    """Work on a device or path."""
    return _line("action", code, ref)


def see(ref: str, code: str) -> EntryFact:
    """Something seen."""
    return _line("observe", code, ref)


def swap(ref: str, **stamped: Value) -> EntryFact:
    """A new device of the same kind in the same place."""
    kind = next(c[3] for c in CAST if c[0] == ref)
    return _line("replace", "", ref, device=ident(f"new {ref}"), kind=kind, values=stamped)


def remove(ref: str) -> EntryFact:
    """The device taken out, the place left empty."""
    return _line("remove", "", ref)


def turn(ref: str, **values: Value) -> EntryFact:
    """A setting changed."""
    return _line("set", "", ref, values=values)


def _line(do: str, code: str, ref: str, **more: object) -> EntryFact:
    return EntryFact(HERE, 0, do, code, ident(ref), START, **more)  # type: ignore[arg-type]


@dataclass
class Boiler:
    """12 Larkspur Row: two cutoffs, control and limit each on its own siphon, one safety valve; none proven yet."""

    one_siphon: bool = False
    visits: list[VisitFact] = field(default_factory=list)
    fittings: list[FittingFact] = field(default_factory=list)
    settings: list[SettingFact] = field(default_factory=list)
    services: list[ServiceChange] = field(default_factory=list)
    terms: tuple[AdoptedTerms, ...] = (AdoptedTerms(None, SEASON),)

    def __post_init__(self) -> None:
        for ref, _, _, kind, path, stamped in CAST:
            self.fittings.append(FittingFact(ident(ref), ident(f"first {ref}"), kind, FITTED, stamped))
            on = "siphon_a" if self.one_siphon and path == "siphon_b" else path
            if on:
                self.settings.append(SettingFact(ident(ref), "paths", (ident(on),), FITTED))

    def visit(
        self,
        days: float,
        *entries: EntryFact,
        who: str = "technician",
        leave: Mapping[str, Value] = {},
        kind: str = "routine_check",
    ) -> Self:
        """A visit on that day; its entries follow each other by the minute. `who` may be several, joined by a bar."""
        n = len(self.visits)
        begun = at(days)
        lines = tuple(
            replace(e, id=ident(f"{n}/{i}"), number=i, at=begun + timedelta(minutes=i)) for i, e in enumerate(entries)
        )
        held = frozenset(w for w in who.split("|") if w)
        self.visits.append(VisitFact(ident(f"v{n}"), kind, begun, begun, lines, held, leaving_checks=leave))
        return self

    def service(self, days: float = 0.0) -> Self:
        """A visit that proves everything and leaves everything right."""
        return self.visit(days, *(proof(ref) for ref in FULL), leave=LEFT_RIGHT)

    def flushed(self, *days: float) -> Self:
        """The caretaker's flush of the upper cutoff, on each of these days."""
        for day in days:
            self.visit(day, proof("upper", "flush"), who="operator")
        return self

    def goes(self, days: float, state: ServiceMode) -> Self:
        """The boiler's service state from then on."""
        self.services.append(ServiceChange(state, at(days)))
        return self

    def sets(self, days: float, ref: str | None, key: str, value: Value) -> Self:
        """A dated value from the register."""
        self.settings.append(SettingFact(ident(ref) if ref else None, key, value, at(days)))
        return self

    def evidence(self) -> Evidence:
        """Everything so far."""
        return Evidence(
            boiler=HERE,
            name="Larkspur Row 12",
            zone=ZONE,
            catalogue=catalogue(),
            terms=self.terms,
            positions=tuple(PositionFact(ident(ref), ref, name, role) for ref, name, role, *_ in CAST),
            fittings=tuple(self.fittings),
            settings=tuple(self.settings),
            services=tuple(self.services),
            visits=tuple(self.visits),
        )

    def judged(self) -> Judgement:
        """What follows from it."""
        return judge(self.evidence(), (), at(400))

    def state(self, ref: str, days: float) -> State:
        """The state of one position on that day."""
        return self.state_at(ref, at(days)).state

    def state_at(self, ref: str, when: datetime) -> PositionStateSegment:
        """The segment of one position at that instant."""
        evidence = self.evidence()
        run = replay_evidence(evidence)
        found = state_segments(run.ledger, run.ledger.records[ident(ref)], run.snapshots[ident(ref)])
        return next(s for s in found if _holds(s.since, s.until, when))

    def standing(self, days: float) -> Standing:
        """The boiler's standing on that day."""
        return self.standing_at(at(days)).standing

    def standing_at(self, when: datetime) -> StandingSegment:
        """The standing that holds at that instant."""
        return next(s for s in self.judged().standings if _holds(s.since, s.until, when))

    def open(self, ref: str = "") -> list[str]:
        """The rules of the deficiencies that nothing has closed, of one position or of all.

        Without those that time alone opens on every valve and every cutoff: they have tests of their own.
        """
        found = (d.rule for d in self._deficiencies(ref) if d.closed_at is None)
        return sorted(rule for rule in found if rule not in ("set_pressure_unproven", "past_service_life"))

    def closed(self, ref: str = "") -> list[str]:
        """The rules of the deficiencies that were closed."""
        return sorted(d.rule for d in self._deficiencies(ref) if d.closed_at is not None)

    def _deficiencies(self, ref: str) -> list[JudgedDeficiency]:
        return [d for d in self.judged().deficiencies if not ref or d.position == ident(ref)]

    def found(self) -> list[tuple[str, str]]:
        """Rule and level of every finding, in order."""
        return [(f.rule, f.level.value) for f in self.findings()]

    def findings(self) -> tuple[JudgedFinding, ...]:
        """Every finding."""
        return self.judged().findings

    def verdict(self) -> EntryVerdict:
        """The verdict on the newest test."""
        return self.judged().verdicts[-1]

    def ready(self) -> ReadinessAnswer:
        """The answer after the newest visit."""
        return self.judged().readiness[-1]

    def bench(self, code: str) -> GradingBench:
        """A bench with one good test of that procedure on the first place it fits."""
        procedure = catalogue().procedures[code]
        ref = next(c[0] for c in CAST if c[3] in procedure.kinds)
        self.service().visit(1, proof(ref, code))
        ledger = replay_evidence(self.evidence()).ledger
        visit = self.visits[-1]
        return GradingBench(visit, visit.entries[0], procedure, ledger.records[ident(ref)], ledger)

    def good(self, code: str, ref: str) -> dict[str, Value]:
        """Readings that prove what the procedure can prove at that place."""
        return good(code, ref)


def _holds(since: datetime | None, until: datetime | None, when: datetime) -> bool:
    return (since is None or since <= when) and (until is None or when < until)


def local(day: date, hour: int = 0) -> datetime:
    """An instant of New York's standard or daylight time, written as UTC by hand: 4 h behind in summer, 5 in winter."""
    behind = 4 if date(day.year, 3, 8) < day < date(day.year, 11, 1) else 5
    return datetime(day.year, day.month, day.day, hour, tzinfo=UTC) + timedelta(hours=behind)
