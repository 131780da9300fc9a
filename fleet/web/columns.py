"""One boiler as two columns side by side: what is set on the pressure side and the water side, and what still acts.

A failed path is drawn as a break: everything beyond it is dark. A failed way out darkens all but the safety valve.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from fleet.assessments.proofs import Proof, newest
from fleet.board.models import StateSegment
from fleet.board.queries import Place
from fleet.catalog.queries import catalogue_of, current
from fleet.portfolio.models import Position
from fleet.rules.values import State, Terms
from fleet.rules.wording import on
from fleet.visits.places import present, stays
from fleet.web.columns_drawn import Band, Drawing, draw
from fleet.web.figures import brief, drawn, drawn_in
from fleet.web.measured import HEIGHTS, TRIPS, Measure, Measured
from fleet.web.pressure_side import against, cut_in_out

PIPES = ("siphon", "float_chamber")
WAYS_OUT = ("limit_circuit", "burner_relay", "fuel_valves")
CUTOFFS = ("upper_cutoff", "lower_cutoff")
STOPS_THE_BURNER = (*CUTOFFS, "operating_control", "high_limit")
PSI, INCH = "psi", "in"
NOT_KNOWN = {PSI: "set point not on record", INCH: "height not on record"}


@dataclass(frozen=True, slots=True)
class Rung:
    """One mark on a column: where it is set, where it last tripped, its state and proof, and its signal's paths."""

    name: str
    unit: str
    at: float | None
    verb: str = "set"
    tripped: float | None = None
    trip: Measure | None = None
    segment: StateSegment | None = None
    pipes: tuple[Position, ...] = ()
    dark: str = ""  # why its signal does not get through; "" if it does
    proof: Proof | None = None
    operator: Proof | None = None
    zone: str = ""

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
        return "" if self.unit == INCH else against(self.tripped, self.at, self.unit)

    @property
    def sentence(self) -> str:
        """The whole rung in one sentence, for readers who do not see the drawing."""
        where = f"{self.verb} at {_number(self.at, self.unit)}".strip() if self.at is not None else NOT_KNOWN[self.unit]
        told = [f"{self.name[:1].upper()}{self.name[1:]}", where]
        if self.trip is not None and self.tripped is not None:
            told.append(f"tripped last at {_number(self.tripped, self.unit)} on {on(self.trip.at, self.zone)}")
        if self.state:
            told.append(self.state.replace("_", " "))
        if self.pipes:
            told.append(f"on the {' and the '.join(p.name for p in self.pipes)}")
        return f"{', '.join([*told, *([self.dark] if self.dark else [])])}."

    def band(self) -> Band:
        """Return the rung as a band of the drawing."""
        head = " ".join(filter(None, (_number(self.at, self.unit), self.name)))
        lines = [head, *([] if self.at is not None else [NOT_KNOWN[self.unit]])]
        lines += [self._told()] if self.state else []
        if self.tripped is not None:
            lines.append(f"tripped last at {_number(self.tripped, self.unit)}")
        at, tripped = (v if v is None else drawn(v, self.unit) for v in (self.at, self.tripped))
        return Band(at, tripped, tuple(lines), self.state, bool(self.dark), tuple(p.id for p in self.pipes))

    def _told(self) -> str:
        if self.dark:
            return "dark: its signal is cut"
        words, here = self.state.replace("_", " "), self.segment
        if self.stands and here and here.until:
            joined = ", lapses" if words == "due" else " until"
            return f"{words}{joined} {_day(here.until, self.zone)}"
        dated = words in ("failed", "lapsed") and here and here.since
        return f"{words} since {_day(here.since, self.zone)}" if dated and here else words


@dataclass(frozen=True, slots=True)
class Path:
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
class Column:
    """One column: its rungs from the highest down, the pipes they hang on, and the drawing."""

    code: str
    title: str
    unit: str
    rungs: tuple[Rung, ...]
    pipes: tuple[Path, ...]
    drawing: Drawing

    @property
    def newest(self) -> str:
        """How many of its devices are in each state, worst first."""
        return counted(rung.state for rung in self.rungs if rung.state)

    @property
    def scale(self) -> str:
        """The unit of its scale, as the reader chose."""
        unit = drawn_in(self.unit)
        return "inches" if unit == INCH else unit


@dataclass(frozen=True, slots=True)
class Columns:
    """Both columns, and the ways on which a trip goes out to the fuel."""

    both: tuple[Column, ...]
    way_out: tuple[Path, ...]
    cut: tuple[str, ...]  # names of the failed ways out
    newest: Mapping[str, Proof]  # by position: the newest full proof, else the newest pass

    @property
    def drawn(self) -> bool:
        """Whether there is any rung."""
        return any(c.rungs for c in self.both)


@dataclass(frozen=True, slots=True)
class _Known:
    """What the rungs are built from."""

    measured: Measured
    segments: Mapping[UUID, StateSegment]
    hung: Mapping[UUID, tuple[UUID, ...]]
    proofs: Mapping[UUID, Sequence[Proof]]
    cut: tuple[str, ...]

    def down(self, place: UUID) -> bool:
        segment = self.segments.get(place)
        return segment is not None and State(segment.state).down

    def pipes(self, place: UUID) -> tuple[Position, ...]:
        """Return the input paths that a position hangs on, directly or through another path."""
        waiting, found = list(self.hung.get(place, ())), []
        by_id = {p.id: p for p in self.measured.places}
        while waiting:
            path = by_id.get(waiting.pop(0))
            if path is not None and path not in found:
                waiting.extend(self.hung.get(path.id, ()))
                found += [path] if path.role_id in PIPES else []
        return tuple(found)

    def proof(self, place: UUID, kind: str) -> Proof | None:
        told = [p for p in self.proofs.get(place, ()) if p.proof == kind]
        return max(told, key=lambda p: p.passed_at, default=None)

    def path(self, position: Position, letter: str) -> Path:
        return Path(position, letter, self.segments.get(position.id), self.proof(position.id, "full"))

    def of(self, place: Position) -> dict[str, Any]:
        """Return the fields that every rung of a device shares."""
        pipes = self.pipes(place.id)
        broken = [p.name for p in pipes if self.down(p.id)]
        dark = f"beyond the break in the {' and the '.join(broken)}" if broken else ""
        if not dark and self.cut and place.role_id in STOPS_THE_BURNER:
            dark = f"its trip does not get through the {' and the '.join(self.cut)}"
        full, partial = self.proof(place.id, "full"), self.proof(place.id, "partial")
        known = {"segment": self.segments.get(place.id), "pipes": pipes, "dark": dark, "zone": self.measured.zone}
        return {**known, "proof": full, "operator": partial}


def columns(measured: Measured, places: Sequence[Place], terms: Terms, may_read: bool) -> Columns:
    """Return both columns of a boiler; without leave to read visits they have no readings and no proofs."""
    segments = {p.segment.position_id: p.segment for p in places}
    proofs = _proofs(measured, terms) if may_read else {}
    out = [p for p in measured.of_role(*WAYS_OUT) if p.id in segments]
    cut = tuple(p.name for p in out if State(segments[p.id].state).down)
    known = _Known(measured, segments, _hung(measured), proofs, cut)
    pressure = _column(known, "pressure", "Pressure", PSI, list(_pressure(known)))
    water = _column(known, "water", "Water", INCH, list(_water(known)))
    newest_of = {str(place): _best(passes) for place, passes in proofs.items()}
    return Columns((pressure, water), tuple(known.path(p, "") for p in out), cut, newest_of)


def _best(passes: Sequence[Proof]) -> Proof:
    return max(passes, key=lambda proof: (proof.proof == "full", proof.passed_at))


def _column(known: _Known, code: str, title: str, unit: str, rungs: list[Rung]) -> Column:
    rungs.sort(key=lambda r: (r.at is None, -(r.at or 0.0)))
    pipes = {p.id: p for r in rungs for p in r.pipes}
    paths = tuple(known.path(p, chr(ord("A") + n)) for n, p in enumerate(pipes.values()))
    drawing = draw([r.band() for r in rungs], [(p.position.id, p.letter, p.broken) for p in paths], drawn_in(unit))
    return Column(code, title, unit, tuple(rungs), paths, drawing)


def _pressure(known: _Known) -> Iterator[Rung]:
    measured = known.measured
    alone = len(measured.of_role("operating_control")) == 1
    for place in measured.of_role("operating_control", "high_limit", "safety_valve"):
        occupant, (tripped, trip) = measured.occupant(place.id), _newest(measured, place.id, TRIPS)
        told = known.of(place)
        if place.role_id != "operating_control":
            yield Rung(place.name, PSI, occupant.number("set_psi"), tripped=tripped, trip=trip, **told)
            continue
        low, high = cut_in_out(occupant)
        after = "" if alone else f", {place.name}"
        yield Rung(f"cut-out{after}", PSI, high, tripped=tripped, trip=trip, **told)
        if low is not None:
            yield Rung(f"cut-in{after}", PSI, low, **{**told, "segment": None, "proof": None, "operator": None})


def _water(known: _Known) -> Iterator[Rung]:
    measured = known.measured
    for key, name in (("normal_line_in", "normal line"), ("lowest_safe_line_in", "lowest safe line")):
        if (height := measured.value(key)) is not None:
            yield Rung(name, INCH, height, "")
    for place in measured.of_role("feeder"):
        yield Rung(place.name, INCH, measured.occupant(place.id).number("feeds_at_in"), "feeds", **known.of(place))
    for place in measured.of_role(*CUTOFFS):
        tripped, trip = _newest(measured, place.id, HEIGHTS)
        recorded = measured.occupant(place.id).number("trip_in")
        verb, height = ("set to trip", recorded) if recorded is not None else ("trips", tripped)
        yield Rung(place.name, INCH, height, verb, tripped, trip, **known.of(place))


def _newest(measured: Measured, place: UUID, codes: Mapping[str, str]) -> tuple[float | None, Measure | None]:
    for measure in reversed(measured.tests(codes, place)):
        if (value := measure.number(codes[measure.code])) is not None:
            return value, measure
    return None, None


def _hung(measured: Measured) -> dict[UUID, tuple[UUID, ...]]:
    """Return the paths each position hangs on. They belong to the position, so they outlast its device."""
    found = {}
    for place, facts in measured.facts.items():
        for fact in facts:
            if "paths" in fact.values and fact.at <= measured.at:
                found[place] = tuple(UUID(str(path)) for path in fact.values["paths"])
    return found


def _proofs(measured: Measured, terms: Terms) -> dict[UUID, list[Proof]]:
    """Return the newest passes of what fills each position now, in three queries."""
    release = catalogue_of(current(measured.at.astimezone(UTC).date()) or 1)
    fitted = [s for listed in stays((p.id for p in measured.places), measured.at).values() if (s := present(listed))]
    return newest(fitted, terms, release, measured.zone, measured.at)


def counted(states: Iterable[str]) -> str:
    """Count the states, worst first: "1 failed, 11 proven"."""
    counts = Counter(states)
    return ", ".join(f"{counts[s.value]} {s.value.replace('_', ' ')}" for s in State if s.value in counts)


def _day(at: datetime, zone: str) -> str:
    """Return the day with non-breaking spaces, so that no line of the drawing splits it."""
    return on(at, zone).replace(" ", "\u00a0")


def _number(value: float | None, unit: str) -> str:
    return "" if value is None else brief(value, unit)
