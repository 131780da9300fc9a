"""A technician's work sheet: what one boiler asks for now, in the order of work, read from stored conclusions."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from fleet.board.models import StateSegment
from fleet.calendar import day_of
from fleet.catalog import queries as catalog
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency
from fleet.jobs import asks, suggest, work
from fleet.jobs.asks import Ask
from fleet.jobs.visit_kind_asks import ROUTINE_CHECK, visit_kind_asks
from fleet.planning import work_order
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler, Position
from fleet.rules.answers.readiness import LEAVING_CHECKS
from fleet.rules.catalogue import Catalogue, ProcedureSpec
from fleet.rules.finding_codes import FindingCode
from fleet.rules.needed_roles import RegisterGap
from fleet.rules.values import Level
from fleet.rules.wording import ADVICE_CAUTION
from fleet.terms import queries as terms
from fleet.visits import places as visit_places
from fleet.visits import register_gaps
from fleet.visits.models import Entry
from fleet.visits.places import PlaceValue, Stay

TIME_GRAIN = timedelta(minutes=15)  # local days of every zone begin on a quarter hour


@dataclass(frozen=True, slots=True)
class FirstAct:
    """An open hold and what to do first about it; it comes before everything else on the sheet."""

    deficiency: UUID
    position: UUID | None
    sentence: str
    act: str


@dataclass(frozen=True, slots=True)
class LastTest:
    """The newest test of the same procedure at the same place."""

    entry: Entry
    outcome: str
    readings: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One thing to do at one place, and why."""

    group: int
    ask: Ask
    position: Position | None
    procedure: ProcedureSpec | None
    set_points: Mapping[str, object]
    last: LastTest | None


@dataclass(frozen=True, slots=True)
class SheetPart:
    """One group of the order of work and its lines."""

    group: work_order.WorkGroup
    lines: Sequence[WorkLine]


@dataclass(frozen=True, slots=True)
class WorkSheet:
    """The whole work sheet."""

    boiler: Boiler
    at: datetime
    caution: str
    first: Sequence[FirstAct]
    season: str
    parts: Sequence[SheetPart]
    leaving: Mapping[str, str]
    minutes: int
    people: int
    tools: Sequence[str]
    spares: Sequence[str]
    gaps: Sequence[RegisterGap] = ()


@dataclass(frozen=True, slots=True)
class SheetSources:
    """What the lines of a sheet are made from, read once."""

    release: Catalogue
    places: Mapping[UUID, Position]
    stays: Mapping[UUID, Stay]
    values: Mapping[UUID, Sequence[PlaceValue]]
    tests: Mapping[tuple[UUID, str], Entry]


def round_to_grain(at: datetime) -> datetime:
    """Return the start of the quarter hour in which an instant lies."""
    return at - (at - at.replace(hour=0, minute=0, second=0, microsecond=0)) % TIME_GRAIN


def compose_work_sheet(boiler: Boiler, at: datetime, kind: str = "", sources: SheetSources | None = None) -> WorkSheet:
    """Compose a boiler's work sheet from stored rows: release, places, states, deficiencies, settings, tests, terms.

    Without a kind of visit it lists what is due or open. A routine check has its four things and nothing else, an
    annual service or season start all that such a visit does as well; every other kind is as without one. `sources`
    are those of this boiler and instant, where they were read already.
    """
    sources = sources or read_sources(boiler, at)
    states = list(suggest.states_of(boiler.id, round_to_grain(at), at))
    open_rows = list(open_deficiencies(boiler, at))
    zone = boiler.building.zone
    season = asks.near_season(terms.terms_in_force(boiler.portfolio_id, zone, at), day_of(at, zone))
    facts = _work_facts(sources, states, rows=open_rows, at=at, zone=zone)
    kind_asks = list(visit_kind_asks(facts, kind))
    listed_asks = kind_asks if kind == ROUTINE_CHECK else asks.all_asks(facts, season, kind_asks)
    lines = sorted((_work_line(a, sources) for a in listed_asks), key=_line_order)
    listed_procedures = [line.procedure for line in lines if line.procedure]
    repairs = sum(1 for line in lines if line.ask.phase == "repair")
    return WorkSheet(
        boiler=boiler,
        at=at,
        caution=ADVICE_CAUTION,
        first=list(_first_acts(open_rows, sources.release, at)),
        season=season.sentence,
        parts=[SheetPart(g, [n for n in lines if n.group == g.number]) for g in work_order.GROUPS],
        leaving=LEAVING_CHECKS,
        minutes=work.VISIT_MINUTES + work.REPAIR_MINUTES * repairs + sum(p.minutes for p in listed_procedures),
        people=max((p.people for p in listed_procedures), default=1),
        tools=sorted({t for p in listed_procedures for t in p.tools}),
        spares=sorted({s for p in listed_procedures for s in p.parts}),
        gaps=register_gaps.gaps_of_boiler(boiler, sources.release, at)
        if any(row.rule == FindingCode.NOT_ON_RECORD for row in open_rows)
        else (),
    )


def read_sources(boiler: Boiler, at: datetime) -> SheetSources:
    """Read what the lines of a boiler's sheets are made from: release, places, devices, values, newest tests."""
    positions = register.positions_of(Boiler.objects.filter(id=boiler.id)).select_related("role")
    places = {p.id: p for p in positions}
    present = {
        p: visit_places.present_stay(place_stays) for p, place_stays in visit_places.stays_at_places(places, at).items()
    }
    stays = {p: stay for p, stay in present.items() if stay}
    tests = visit_places.last_tests(places, at)
    return SheetSources(
        catalog.catalogue_at(at), places, stays=stays, values=visit_places.values_at_places(places, at), tests=tests
    )


def open_deficiencies(boiler: Boiler, at: datetime) -> Iterable[Deficiency]:
    """Return the deficiencies of a boiler that are open at `at`, the oldest first."""
    deficiencies = Deficiency.objects.filter(boiler=boiler, closed_at=None, withdrawn=False, opened_at__lte=at)
    return deficiencies.select_related("opened_by").order_by("opened_at", "id")


def _work_facts(
    sources: SheetSources, states: Iterable[StateSegment], rows: Iterable[Deficiency], at: datetime, zone: str
) -> asks.WorkFacts:
    kinds = {p: stay.device.kind_id for p, stay in sources.stays.items()}
    paths = {p: [UUID(v) for v in _setting_value(sources, p, "paths") or []] for p in sources.places}
    passed_at_by_key = {key: e.performed_at for key, e in sources.tests.items() if _outcome_of(e) == "pass"}
    names = {p: place.name for p, place in sources.places.items()}
    roles: dict[UUID | None, str] = {p: place.role_id for p, place in sources.places.items()}
    return asks.WorkFacts(
        sources.release,
        roles,
        kinds=kinds,
        paths=paths,
        passed=passed_at_by_key,
        names=names,
        states=list(states),
        open=list(rows),
        at=at,
        zone=zone,
    )


def _setting_value(sources: SheetSources, place: UUID, key: str) -> Any:
    return next((v.value for v in sources.values.get(place, ()) if v.key == key), None)


def _first_acts(rows: Iterable[Deficiency], release: Catalogue, at: datetime) -> Iterator[FirstAct]:
    for row in rows:
        rule = release.findings.get(row.rule)
        if level_at(row, at) == Level.HOLD:
            yield FirstAct(row.id, row.position_id, row.sentence, rule.first_act if rule else "")


def _work_line(ask: Ask, sources: SheetSources) -> WorkLine:
    procedure = sources.release.procedures.get(ask.procedure)
    position = sources.places.get(ask.position) if ask.position else None
    entry = sources.tests.get((ask.position, ask.procedure)) if ask.position else None
    last = last_test(entry) if entry else None
    return WorkLine(
        _group_and_place(ask, procedure)[0],
        ask,
        position=position,
        procedure=procedure,
        set_points=set_points_at(ask.position, sources) if ask.position else {},
        last=last,
    )


def _group_and_place(ask: Ask, procedure: ProcedureSpec | None) -> tuple[int, int]:
    if procedure is None or ask.phase == "repair":
        return work_order.LOCKED_OFF, -1
    return work_order.as_left_order(procedure) if ask.phase == "as_left" else work_order.as_found_order(procedure)


def _line_order(line: WorkLine) -> tuple[object, ...]:
    group, place = _group_and_place(line.ask, line.procedure)
    return group, place, line.position.name if line.position else "", line.ask.procedure, line.ask.why


def set_points_at(place: UUID, sources: SheetSources) -> dict[str, object]:
    """Return the values stamped on the device, overridden by settings; without dates and paths."""
    stay = sources.stays.get(place)
    stamped = dict(stay.device.attributes) if stay else {}
    settings = {v.key: v.value for v in sources.values.get(place, ())}
    return {
        k: v
        for k, v in {**stamped, **settings}.items()
        if k not in ("fitted_on", "paths", "needed", "not_needed_because")
    }


def last_test(entry: Entry) -> LastTest:
    """Return a stored test with its present outcome and its readings."""
    return LastTest(entry, _outcome_of(entry), _reading_values(entry))


def _outcome_of(entry: Entry) -> str:
    verdict = getattr(entry, "verdict", None)
    return verdict.outcome if verdict else entry.outcome


def _reading_values(entry: Entry) -> dict[str, object]:
    rows = sorted(entry.readings.all(), key=lambda r: r.name)
    return {r.name: next(v for v in (r.flag, r.number, r.word) if v is not None) for r in rows}
