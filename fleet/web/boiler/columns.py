"""One boiler as two columns side by side: what is set on the pressure side and the water side, and what still acts.

A failed path is drawn as a break: everything beyond it is dark. A failed way out darkens all but the safety valve.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from fleet.assessments.proofs import Proof, newest_proofs
from fleet.board.models import StateSegment
from fleet.board.queries import BoilerPlace
from fleet.catalog.queries import catalogue_at
from fleet.portfolio.models import Position
from fleet.rules.values import AdoptedTerms, State
from fleet.rules.wording import local_day
from fleet.visits.places import present_stay, stays_at_places
from fleet.web.boiler.boiler_data import HEIGHT_READINGS, TRIP_READINGS, BoilerData, Measure
from fleet.web.boiler.column_drawing import Band, ColumnDrawing, draw_column
from fleet.web.boiler.pressure_side import cut_in_out, describe_distance
from fleet.web.shared.number_format import drawn_unit, drawn_value, in_brief

PIPE_ROLES = ("siphon", "float_chamber")
WAY_OUT_ROLES = ("limit_circuit", "burner_relay", "fuel_valves")
CUTOFF_ROLES = ("upper_cutoff", "lower_cutoff")
BURNER_STOP_ROLES = (*CUTOFF_ROLES, "operating_control", "high_limit")
PSI, INCH = "psi", "in"
NOT_KNOWN = {PSI: "set point not on record", INCH: "height not on record"}


@dataclass(frozen=True, slots=True)
class Rung:
    """One mark on a column: where it is set, where it last tripped, its state and proof, and its signal's paths."""

    name: str
    unit: str
    at: float | None
    verb: str = "set"
    trip_value: float | None = None
    trip: Measure | None = None
    segment: StateSegment | None = None
    pipes: tuple[Position, ...] = ()
    dark: str = ""  # why its signal does not get through; "" if it does
    proof: Proof | None = None
    operator: Proof | None = None
    zone: str = ""

    @property
    def has_set_point(self) -> bool:
        """Whether it is on record where it is set; where a device trips is not what somebody set."""
        return self.at is not None and self.verb != "trips"

    @property
    def state(self) -> str:
        """The code of its state; "" for a water line, which is not a device."""
        return self.segment.state if self.segment else ""

    @property
    def stands(self) -> bool:
        """Whether its proof counts now."""
        return bool(self.state) and State(self.state).stands

    @property
    def distance(self) -> str:
        """The distance of the last trip from the set point, in words; "" for a cutoff, whose height nobody sets."""
        return "" if self.unit == INCH else describe_distance(self.trip_value, self.at, self.unit)

    @property
    def sentence(self) -> str:
        """The whole rung in one sentence, for readers who do not see the drawing."""
        where = (
            f"{self.verb} at {_quantity_text(self.at, self.unit)}".strip()
            if self.at is not None
            else NOT_KNOWN[self.unit]
        )
        parts = [f"{self.name[:1].upper()}{self.name[1:]}", where]
        if self.trip is not None and self.trip_value is not None:
            parts.append(
                f"tripped last at {_quantity_text(self.trip_value, self.unit)} on {local_day(self.trip.at, self.zone)}"
            )
        if self.state:
            parts.append(self.state.replace("_", " "))
        if self.pipes:
            parts.append(f"on the {' and the '.join(p.name for p in self.pipes)}")
        return f"{', '.join([*parts, *([self.dark] if self.dark else [])])}."

    def to_band(self) -> Band:
        """Return the rung as a band of the drawing."""
        head = " ".join(filter(None, (_quantity_text(self.at, self.unit), self.name)))
        lines = [head, *([] if self.at is not None else [NOT_KNOWN[self.unit]])]
        lines += [self._state_text()] if self.state else []
        if self.trip_value is not None:
            lines.append(f"tripped last at {_quantity_text(self.trip_value, self.unit)}")
        at, trip_value = (v if v is None else drawn_value(v, self.unit) for v in (self.at, self.trip_value))
        return Band(
            at,
            trip_value,
            lines=tuple(lines),
            state=self.state,
            dark=bool(self.dark),
            pipes=tuple(p.id for p in self.pipes),
        )

    def _state_text(self) -> str:
        if self.dark:
            return "dark: its signal is cut"
        words, segment = self.state.replace("_", " "), self.segment
        if self.stands and segment and segment.until:
            joint = ", lapses" if words == "due" else " until"
            return f"{words}{joint} {_unbroken_day(segment.until, self.zone)}"
        if words in ("failed", "lapsed") and segment and segment.since:
            return f"{words} since {_unbroken_day(segment.since, self.zone)}"
        return words


@dataclass(frozen=True, slots=True)
class SignalPath:
    """A path of signals in or out: its position, its letter in the drawing, its state and its last proof."""

    position: Position
    letter: str
    segment: StateSegment | None
    proof: Proof | None

    @property
    def broken(self) -> bool:
        """Whether no signal gets through."""
        return self.segment is not None and State(self.segment.state).down


@dataclass(frozen=True, slots=True)
class BoilerColumn:
    """One column: its rungs from the highest down, the pipes they hang on, and the drawing."""

    code: str
    title: str
    unit: str
    rungs: tuple[Rung, ...]
    pipes: tuple[SignalPath, ...]
    drawing: ColumnDrawing

    @property
    def state_counts(self) -> str:
        """How many of its devices are in each state, worst first."""
        return count_states(rung.state for rung in self.rungs if rung.state)

    @property
    def where_read(self) -> str:
        """What the scale is read on."""
        return "on the glass" if self.unit == INCH else "by the gauge"

    @property
    def scale(self) -> str:
        """The unit of its scale, as the reader chose."""
        unit = drawn_unit(self.unit)
        return "inches" if unit == INCH else unit


@dataclass(frozen=True, slots=True)
class BoilerColumns:
    """Both columns, and the ways on which a trip goes out to the fuel."""

    both: tuple[BoilerColumn, ...]
    way_out: tuple[SignalPath, ...]
    failed_ways_out: tuple[str, ...]  # names of the failed ways out
    newest_proofs: Mapping[str, Proof]  # by position: the newest full proof, else the newest pass

    @property
    def has_rungs(self) -> bool:
        """Whether there is any rung."""
        return any(c.rungs for c in self.both)


@dataclass(frozen=True, slots=True)
class _ColumnFacts:
    """What the rungs are built from."""

    boiler_data: BoilerData
    segments: Mapping[UUID, StateSegment]
    paths_by_place: Mapping[UUID, tuple[UUID, ...]]
    proofs: Mapping[UUID, Sequence[Proof]]
    failed_ways_out: tuple[str, ...]

    def is_down(self, place: UUID) -> bool:
        segment = self.segments.get(place)
        return segment is not None and State(segment.state).down

    def pipes_of(self, place: UUID) -> tuple[Position, ...]:
        """Return the input paths that a position hangs on, directly or through another path."""
        pending, pipes = list(self.paths_by_place.get(place, ())), []
        by_id = {p.id: p for p in self.boiler_data.places}
        while pending:
            path = by_id.get(pending.pop(0))
            if path is not None and path not in pipes:
                pending.extend(self.paths_by_place.get(path.id, ()))
                pipes += [path] if path.role_id in PIPE_ROLES else []
        return tuple(pipes)

    def newest_proof(self, place: UUID, kind: str) -> Proof | None:
        matching = [p for p in self.proofs.get(place, ()) if p.proof == kind]
        return max(matching, key=lambda p: p.passed_at, default=None)

    def signal_path(self, position: Position, letter: str) -> SignalPath:
        return SignalPath(position, letter, self.segments.get(position.id), self.newest_proof(position.id, "full"))

    def rung_facts(self, place: Position) -> dict[str, Any]:
        """Return the fields that every rung of a device shares."""
        pipes = self.pipes_of(place.id)
        broken_names = [p.name for p in pipes if self.is_down(p.id)]
        dark = f"beyond the break in the {' and the '.join(broken_names)}" if broken_names else ""
        if not dark and self.failed_ways_out and place.role_id in BURNER_STOP_ROLES:
            dark = f"its trip does not get through the {' and the '.join(self.failed_ways_out)}"
        full, partial = self.newest_proof(place.id, "full"), self.newest_proof(place.id, "partial")
        facts = {"segment": self.segments.get(place.id), "pipes": pipes, "dark": dark, "zone": self.boiler_data.zone}
        return {**facts, "proof": full, "operator": partial}


def build_columns(
    boiler_data: BoilerData, places: Sequence[BoilerPlace], terms: AdoptedTerms, may_read: bool
) -> BoilerColumns:
    """Return both columns of a boiler; without leave to read visits they have no readings and no proofs."""
    segments = {p.segment.position_id: p.segment for p in places}
    proofs = _newest_proofs(boiler_data, terms) if may_read else {}
    ways_out = [p for p in boiler_data.positions_of_role(*WAY_OUT_ROLES) if p.id in segments]
    failed_ways_out = tuple(p.name for p in ways_out if State(segments[p.id].state).down)
    facts = _ColumnFacts(
        boiler_data,
        segments,
        paths_by_place=_paths_by_place(boiler_data),
        proofs=proofs,
        failed_ways_out=failed_ways_out,
    )
    pressure = _build_column(facts, "pressure", title="Pressure", unit=PSI, rungs=list(_pressure_rungs(facts)))
    water = _build_column(facts, "water", title="Water", unit=INCH, rungs=list(_water_rungs(facts)))
    newest_proofs = {str(place): _best_proof(passes) for place, passes in proofs.items()}
    return BoilerColumns(
        (pressure, water), tuple(facts.signal_path(p, "") for p in ways_out), failed_ways_out, newest_proofs
    )


def _best_proof(passes: Sequence[Proof]) -> Proof:
    return max(passes, key=lambda proof: (proof.proof == "full", proof.passed_at))


def _build_column(facts: _ColumnFacts, code: str, title: str, unit: str, rungs: list[Rung]) -> BoilerColumn:
    rungs.sort(key=lambda r: (r.at is None, -(r.at or 0.0)))
    pipes = {p.id: p for r in rungs for p in r.pipes}
    paths = tuple(facts.signal_path(p, chr(ord("A") + n)) for n, p in enumerate(pipes.values()))
    drawing = draw_column(
        [r.to_band() for r in rungs], [(p.position.id, p.letter, p.broken) for p in paths], drawn_unit(unit)
    )
    return BoilerColumn(code, title, unit=unit, rungs=tuple(rungs), pipes=paths, drawing=drawing)


def _pressure_rungs(facts: _ColumnFacts) -> Iterator[Rung]:
    boiler_data = facts.boiler_data
    alone = len(boiler_data.positions_of_role("operating_control")) == 1
    for place in boiler_data.positions_of_role("operating_control", "high_limit", "safety_valve"):
        occupant, (trip_value, trip) = (
            boiler_data.occupant_at(place.id),
            _newest_trip(boiler_data, place.id, TRIP_READINGS),
        )
        rung_facts = facts.rung_facts(place)
        if place.role_id != "operating_control":
            yield Rung(place.name, PSI, occupant.number("set_psi"), trip_value=trip_value, trip=trip, **rung_facts)
            continue
        low, high = cut_in_out(occupant)
        after = "" if alone else f", {place.name}"
        yield Rung(f"cut-out{after}", PSI, high, trip_value=trip_value, trip=trip, **rung_facts)
        if low is not None:
            yield Rung(f"cut-in{after}", PSI, low, **{**rung_facts, "segment": None, "proof": None, "operator": None})


def _water_rungs(facts: _ColumnFacts) -> Iterator[Rung]:
    boiler_data = facts.boiler_data
    for key, name in (("normal_line_in", "normal line"), ("lowest_safe_line_in", "lowest safe line")):
        if (height := boiler_data.boiler_number(key)) is not None:
            yield Rung(name, INCH, height, "")
    for place in boiler_data.positions_of_role("feeder"):
        yield Rung(
            place.name,
            INCH,
            boiler_data.occupant_at(place.id).number("feeds_at_in"),
            "feeds",
            **facts.rung_facts(place),
        )
    for place in boiler_data.positions_of_role(*CUTOFF_ROLES):
        trip_value, trip = _newest_trip(boiler_data, place.id, HEIGHT_READINGS)
        recorded = boiler_data.occupant_at(place.id).number("trip_in")
        verb, height = ("set to trip", recorded) if recorded is not None else ("trips", trip_value)
        yield Rung(place.name, INCH, at=height, verb=verb, trip_value=trip_value, trip=trip, **facts.rung_facts(place))


def _newest_trip(boiler_data: BoilerData, place: UUID, codes: Mapping[str, str]) -> tuple[float | None, Measure | None]:
    for measure in reversed(boiler_data.measures_of(codes, place)):
        if (value := measure.number(codes[measure.code])) is not None:
            return value, measure
    return None, None


def _paths_by_place(boiler_data: BoilerData) -> dict[UUID, tuple[UUID, ...]]:
    """Return the paths each position hangs on. They belong to the position, so they outlast its device."""
    paths = {}
    for place, facts in boiler_data.facts.items():
        for fact in facts:
            if "paths" in fact.values and fact.at <= boiler_data.at:
                paths[place] = tuple(UUID(str(path)) for path in fact.values["paths"])
    return paths


def _newest_proofs(boiler_data: BoilerData, terms: AdoptedTerms) -> dict[UUID, list[Proof]]:
    """Return the newest passes of what fills each position now, in three queries."""
    release = catalogue_at(boiler_data.at)
    current_stays = [
        s
        for place_stays in stays_at_places((p.id for p in boiler_data.places), boiler_data.at).values()
        if (s := present_stay(place_stays))
    ]
    return newest_proofs(current_stays, terms, release=release, zone=boiler_data.zone, at=boiler_data.at)


def count_states(states: Iterable[str]) -> str:
    """Count the states, worst first: "1 failed, 11 proven"."""
    counts = Counter(states)
    return ", ".join(f"{counts[s.value]} {s.value.replace('_', ' ')}" for s in State if s.value in counts)


def _unbroken_day(at: datetime, zone: str) -> str:
    """Return the day with non-breaking spaces, so that no line of the drawing splits it."""
    return local_day(at, zone).replace(" ", "\u00a0")


def _quantity_text(value: float | None, unit: str) -> str:
    return "" if value is None else in_brief(value, unit)
