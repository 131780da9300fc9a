"""The register as its pages show it: buildings found by a word, one boiler with its places, papers."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from fleet.portfolio.models import Boiler, Building, Paper
from fleet.rules.catalogue import Catalogue
from fleet.sheets import export
from fleet.sheets.columns import NOT_NEEDED_BECAUSE, ON_BOILER
from fleet.sheets.register_snapshot import NO_FITTINGS, PlaceRecord, RegisterOccupant, RegisterSnapshot


@dataclass(frozen=True, slots=True)
class RegisterPlaceView:
    """A place, its occupant, the stamped or set values, and the places it hangs on."""

    place: PlaceRecord
    now: RegisterOccupant | None
    values: dict[str, object]
    paths: list[str]
    needed: bool | None
    not_needed_because: str = ""


@dataclass(frozen=True, slots=True)
class RegisterBoilerView:
    """A boiler at an instant, with its settings and places, as the catalogue of that instant reads them."""

    boiler: Boiler
    values: dict[str, object]
    places: list[RegisterPlaceView]
    release: Catalogue


def find_buildings(boilers: QuerySet[Boiler], word: str) -> QuerySet[Building]:
    """Return the buildings of these boilers, with counts; `word` is looked for in refs, addresses and boiler names."""
    boiler_ids = boilers.order_by().values("id")
    rows = Building.objects.filter(boilers__in=boiler_ids).annotate(
        boilers_count=Count("boilers", distinct=True, filter=Q(boilers__in=boiler_ids))
    )
    if word:
        matching_buildings = boilers.order_by().filter(name__icontains=word).values("building")
        rows = rows.filter(Q(ref__icontains=word) | Q(address__icontains=word) | Q(id__in=matching_buildings))
    return rows.order_by("address", "ref", "id")


def read_boiler_view(boiler: Boiler, release: Catalogue, at: datetime) -> RegisterBoilerView:
    """Read a boiler with its places at `at`, in six queries."""
    boiler_rows = Boiler.objects.filter(id=boiler.id)
    register = RegisterSnapshot.for_boilers(boiler_rows, Building.objects.filter(id=boiler.building_id), at)
    refs = {str(p.id): p.ref for p in register.positions.values()}
    dated = {key: register.settings.get((boiler.id, key)) for key in ON_BOILER}
    order = {code: (role.hazard, role.part, role.order) for code, role in release.roles.items()}
    listed = sorted(register.positions.values(), key=lambda p: (order.get(p.role, ("", "", 0)), p.ref))
    places = [_place_view(place, register, refs, release) for place in listed]
    return RegisterBoilerView(boiler, {key: d.value for key, d in dated.items() if d}, places, release)


def _place_view(
    place: PlaceRecord, register: RegisterSnapshot, refs: dict[str, str], release: Catalogue
) -> RegisterPlaceView:
    occupant = register.fittings.get(place.id, NO_FITTINGS).now
    paths, needed = register.settings.get((place.id, "paths")), register.settings.get((place.id, "needed"))
    reason = register.settings.get((place.id, NOT_NEEDED_BECAUSE))
    stamped = export.device_values(place, occupant, register, release) if occupant and occupant.kind else {}
    hangs_on = [refs[p] for p in paths.value if p in refs] if paths else []
    return RegisterPlaceView(
        place,
        occupant if occupant and occupant.kind else None,
        values=stamped,
        paths=hangs_on,
        needed=needed.value if needed else None,
        not_needed_because=reason.value if reason and needed and needed.value is False else "",
    )


def papers_by_end(building: UUID, boilers: Iterable[UUID] | None = None) -> list[Paper]:
    """Return the papers of a building and of these boilers, the earliest end first, without replaced ones."""
    rows = Paper.objects.filter(building=building).select_related("boiler").order_by("posted_at")
    if boilers is not None:
        rows = rows.filter(Q(boiler=None) | Q(boiler__in=list(boilers)))
    newest = {(r.boiler_id, r.kind, r.since): r for r in rows}
    return sorted(newest.values(), key=lambda r: (r.until, r.kind))
