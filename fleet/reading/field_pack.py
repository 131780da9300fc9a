"""What a phone takes into a boiler room: one boiler whole, so that a visit can be written there without signal."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from uuid import UUID

from fleet.accounts.models import User
from fleet.board.models import Segment, StateSegment
from fleet.board.queries import standing_of, states_of
from fleet.deficiencies.models import Deficiency
from fleet.jobs import contacts, queries, work_sheet
from fleet.jobs.work_sheet import SheetSources, WorkSheet
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler, Device, Position
from fleet.reading.field_limits import LadderValues, ReadingLimit, reading_limits
from fleet.rules.catalogue import Catalogue
from fleet.rules.timeline.boundaries import endangers_people
from fleet.visits import corrections
from fleet.visits.models import Visit

# One sheet a kind of visit that has a list of its own; the first is of any other kind.
SHEET_KINDS = ("", "annual_service", "season_start", "routine_check")
MAX_EARLIER_DANGERS, MAX_EARLIER_VISITS = 5, 6


@dataclass(frozen=True, slots=True)
class PlaceLimit(ReadingLimit):
    """A limit of one procedure's reading at one place."""

    procedure: str = ""


@dataclass(frozen=True, slots=True)
class PackedPlace:
    """A place with what fills it, what is set there and its state; None where it is empty or was never judged."""

    position: Position
    device: Device | None
    set_points: Mapping[str, object]
    state: StateSegment | None
    limits: Sequence[PlaceLimit]


@dataclass(frozen=True, slots=True)
class FieldPack:
    """One boiler as a phone keeps it. `dangers` are earlier findings that were gas or flue gas among people."""

    boiler: Boiler
    at: datetime
    standing: Segment | None
    sheets: Mapping[str, WorkSheet]
    places: Sequence[PackedPlace]
    last_tests: Sequence[work_sheet.LastTest]
    open: Sequence[Deficiency]
    dangers: Sequence[Deficiency]
    visits: Sequence[Visit]
    correctable: Collection[UUID]
    people: Sequence[contacts.Contact]


def compose_field_pack(boiler: Boiler, user: User, at: datetime) -> FieldPack:
    """Compose one boiler's pack for one person, who may read its visits."""
    sources = work_sheet.read_sources(boiler, at)
    visits = Visit.objects.filter(boiler=boiler, posted_at__lte=at, corrected_by=None, void=False)
    newest_visits = list(visits.prefetch_related("people__user").order_by("-performed_at", "-id")[:MAX_EARLIER_VISITS])
    return FieldPack(
        boiler=boiler,
        at=at,
        standing=standing_of(boiler.id, at),
        sheets={kind: work_sheet.compose_work_sheet(boiler, at, kind, sources) for kind in SHEET_KINDS},
        places=_packed_places(boiler, sources, at),
        last_tests=[work_sheet.last_test(entry) for entry in sources.tests.values()],
        open=list(work_sheet.open_deficiencies(boiler, at)),
        dangers=_earlier_dangers(boiler, sources, at),
        visits=newest_visits,
        correctable={visit.id for visit in newest_visits if corrections.may_correct(visit, boiler, user, at)},
        people=_people_to_tell(boiler, user, at),
    )


def _packed_places(boiler: Boiler, sources: SheetSources, at: datetime) -> list[PackedPlace]:
    states = {s.position_id: s for s in states_of(boiler.id, at)}
    set_points = {place: work_sheet.set_points_at(place, sources) for place in sources.places}
    ladder = _ladder_values(boiler, sources, set_points, at)
    return [
        PackedPlace(
            place,
            device=stay.device if (stay := sources.stays.get(place.id)) else None,
            set_points=set_points[place.id],
            state=states.get(place.id),
            limits=_place_limits(stay.device.kind_id, sources.release, set_points[place.id], ladder) if stay else (),
        )
        for place in sources.places.values()
    ]


def _place_limits(
    kind: str, release: Catalogue, set_points: Mapping[str, object], ladder: LadderValues
) -> list[PlaceLimit]:
    return [
        PlaceLimit(**asdict(limit), procedure=procedure.code)
        for procedure in release.procedures.values()
        if kind in procedure.kinds
        for limit in reading_limits(procedure, set_points, ladder)
    ]


def _ladder_values(
    boiler: Boiler, sources: SheetSources, set_points: Mapping[UUID, Mapping[str, object]], at: datetime
) -> LadderValues:
    """Return the lowest limit and valve on record, the next rungs above each control, and the lowest safe line."""

    def lowest_set(role: str) -> float | None:
        values = (set_points[p].get("set_psi") for p, place in sources.places.items() if place.role_id == role)
        return min((v for v in values if isinstance(v, (int, float))), default=None)

    line = register.boiler_settings_at([boiler.id], at).get(boiler.id, {}).get("lowest_safe_line_in")
    return LadderValues(lowest_set("high_limit"), lowest_set("safety_valve"), line)


def _earlier_dangers(boiler: Boiler, sources: SheetSources, at: datetime) -> list[Deficiency]:
    codes = [code for code, rule in sources.release.findings.items() if endangers_people(rule)]
    rows = Deficiency.objects.filter(boiler=boiler, rule__in=codes, withdrawn=False, opened_at__lte=at)
    return list(rows.order_by("-opened_at", "-id")[:MAX_EARLIER_DANGERS])


def _people_to_tell(boiler: Boiler, user: User, at: datetime) -> list[contacts.Contact]:
    jobs = queries.visible_jobs(user, at).filter(building=boiler.building_id)
    details = queries.job_details(queries.with_details(jobs), at)
    return contacts.building_contacts(boiler.building, [boiler], details, at)
