"""A technician's work sheet: what one boiler asks for now, in the order of work, read from stored conclusions."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from fleet.board.models import StateSegment
from fleet.calendar import day_of
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency
from fleet.jobs import asks, suggest, work
from fleet.jobs.asks import Ask
from fleet.planning import work_order
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler, Position
from fleet.rules.catalogue import Catalogue, Procedure
from fleet.rules.readiness import LEAVING_CHECKS
from fleet.rules.values import Level
from fleet.terms import queries as terms
from fleet.visits import places as kept
from fleet.visits.models import Entry
from fleet.visits.places import Stay, Value

GRAIN = timedelta(minutes=15)  # local days of every zone begin on a quarter hour
CAUTION = (
    "Advice to a qualified person, never a permission. Local codes, the boiler maker's instructions and a licensed "
    "person decide; where they say more or otherwise, do that."
)


@dataclass(frozen=True, slots=True)
class First:
    """An open hold and what to do first about it; it comes before everything else on the sheet."""

    deficiency: UUID
    position: UUID | None
    sentence: str
    act: str


@dataclass(frozen=True, slots=True)
class Last:
    """The newest test of the same procedure at the same place."""

    entry: Entry
    outcome: str
    readings: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to do at one place, and why."""

    group: int
    ask: Ask
    position: Position | None
    procedure: Procedure | None
    set_points: Mapping[str, Any]
    last: Last | None


@dataclass(frozen=True, slots=True)
class Part:
    """One group of the order of work and its lines."""

    group: work_order.Group
    lines: Sequence[Line]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole work sheet."""

    boiler: Boiler
    at: datetime
    caution: str
    first: Sequence[First]
    season: str
    parts: Sequence[Part]
    leaving: Mapping[str, str]
    minutes: int
    people: int
    tools: Sequence[str]
    spares: Sequence[str]


@dataclass(frozen=True, slots=True)
class Known:
    """What the lines of a sheet are made from, read once."""

    release: Catalogue
    places: Mapping[UUID, Position]
    stays: Mapping[UUID, Stay]
    values: Mapping[UUID, Sequence[Value]]
    tests: Mapping[tuple[UUID, str], Entry]


def grain(at: datetime) -> datetime:
    """Return the start of the quarter hour in which an instant lies."""
    return at - (at - at.replace(hour=0, minute=0, second=0, microsecond=0)) % GRAIN


def sheet(boiler: Boiler, at: datetime) -> Sheet:
    """Compose a boiler's work sheet from stored rows: release, places, states, deficiencies, settings, tests, terms."""
    known = _known(boiler, at)
    states = list(suggest.states_of(boiler.id, grain(at), at))
    open_rows = list(_open(boiler, at))
    zone = boiler.building.zone
    season = asks.season(terms.in_force(boiler.portfolio_id, zone, at), day_of(at, zone))
    made = asks.all_of(_facts(known, states, open_rows, at, zone), season)
    lines = sorted((_line(a, known) for a in made), key=_order)
    done = [line.procedure for line in lines if line.procedure]
    repairs = sum(1 for line in lines if line.ask.phase == "repair")
    return Sheet(
        boiler=boiler,
        at=at,
        caution=CAUTION,
        first=list(_first(open_rows, known.release, at)),
        season=season.sentence,
        parts=[Part(g, [n for n in lines if n.group == g.number]) for g in work_order.GROUPS],
        leaving=LEAVING_CHECKS,
        minutes=work.VISIT_MINUTES + work.REPAIR_MINUTES * repairs + sum(p.minutes for p in done),
        people=max((p.people for p in done), default=1),
        tools=sorted({t for p in done for t in p.tools}),
        spares=sorted({s for p in done for s in p.parts}),
    )


def _known(boiler: Boiler, at: datetime) -> Known:
    own = register.positions(Boiler.objects.filter(id=boiler.id)).select_related("role")
    places = {p.id: p for p in own}
    present = {p: kept.present(found) for p, found in kept.stays(places, at).items()}
    stays = {p: stay for p, stay in present.items() if stay}
    tests = kept.last_tests(places, at)
    return Known(suggest.release_at(at), places, stays, kept.values(places, at), tests)


def _open(boiler: Boiler, at: datetime) -> Iterable[Deficiency]:
    found = Deficiency.objects.filter(boiler=boiler, closed_at=None, withdrawn=False, opened_at__lte=at)
    return found.select_related("opened_by").order_by("opened_at", "id")


def _facts(
    known: Known, states: Iterable[StateSegment], rows: Iterable[Deficiency], at: datetime, zone: str
) -> asks.Facts:
    kinds = {p: stay.device.kind_id for p, stay in known.stays.items()}
    paths = {p: [UUID(v) for v in _value(known, p, "paths") or []] for p in known.places}
    passed = {key: e.performed_at for key, e in known.tests.items() if _outcome(e) == "pass"}
    names = {p: place.name for p, place in known.places.items()}
    roles: dict[UUID | None, str] = {p: place.role_id for p, place in known.places.items()}
    return asks.Facts(known.release, roles, kinds, paths, passed, names, list(states), list(rows), at, zone)


def _value(known: Known, place: UUID, key: str) -> Any:
    return next((v.value for v in known.values.get(place, ()) if v.key == key), None)


def _first(rows: Iterable[Deficiency], release: Catalogue, at: datetime) -> Iterator[First]:
    for row in rows:
        rule = release.findings.get(row.rule)
        if level_at(row, at) == Level.HOLD:
            yield First(row.id, row.position_id, row.sentence, rule.first_act if rule else "")


def _line(ask: Ask, known: Known) -> Line:
    procedure = known.release.procedures.get(ask.procedure)
    position = known.places.get(ask.position) if ask.position else None
    entry = known.tests.get((ask.position, ask.procedure)) if ask.position else None
    last = Last(entry, _outcome(entry), _readings(entry)) if entry else None
    return Line(_group(ask, procedure)[0], ask, position, procedure, _set_points(ask, known), last)


def _group(ask: Ask, procedure: Procedure | None) -> tuple[int, int]:
    if procedure is None or ask.phase == "repair":
        return work_order.LOCKED_OFF, -1
    return work_order.as_left(procedure) if ask.phase == "as_left" else work_order.as_found(procedure)


def _order(line: Line) -> tuple[Any, ...]:
    group, place = _group(line.ask, line.procedure)
    return group, place, line.position.name if line.position else "", line.ask.procedure, line.ask.why


def _set_points(ask: Ask, known: Known) -> dict[str, Any]:
    """Return the values stamped on the device, overridden by settings; without dates and paths."""
    stay = known.stays.get(ask.position) if ask.position else None
    stamped = dict(stay.device.attributes) if stay else {}
    said = {v.key: v.value for v in known.values.get(ask.position, ())} if ask.position else {}
    return {k: v for k, v in {**stamped, **said}.items() if k not in ("fitted_on", "paths", "needed")}


def _outcome(entry: Entry) -> str:
    verdict = getattr(entry, "verdict", None)
    return verdict.outcome if verdict else entry.outcome


def _readings(entry: Entry) -> dict[str, Any]:
    rows = sorted(entry.readings.all(), key=lambda r: r.name)
    return {r.name: next(v for v in (r.flag, r.number, r.word) if v is not None) for r in rows}
