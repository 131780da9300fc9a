"""The register as its pages show it: buildings found by a word, one boiler with its places, papers."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from fleet.portfolio import export
from fleet.portfolio.columns import ON_BOILER
from fleet.portfolio.known import NOBODY, Known, Occupant, Place
from fleet.portfolio.models import Boiler, Building, Paper
from fleet.rules.catalogue import Catalogue


@dataclass(frozen=True, slots=True)
class PlaceSeen:
    """A place, its occupant, the stamped or set values, and the places it hangs on."""

    place: Place
    now: Occupant | None
    values: dict[str, Any]
    paths: list[str]
    needed: bool | None


@dataclass(frozen=True, slots=True)
class BoilerSeen:
    """A boiler at an instant, with its settings and places."""

    boiler: Boiler
    values: dict[str, Any]
    places: list[PlaceSeen]


def buildings(boilers: QuerySet[Boiler], word: str) -> QuerySet[Building]:
    """Return the buildings of these boilers, with counts; `word` is looked for in refs, addresses and boiler names."""
    own = boilers.order_by().values("id")
    found = Building.objects.filter(boilers__in=own).annotate(
        boilers_count=Count("boilers", distinct=True, filter=Q(boilers__in=own))
    )
    if word:
        named = boilers.order_by().filter(name__icontains=word).values("building")
        found = found.filter(Q(ref__icontains=word) | Q(address__icontains=word) | Q(id__in=named))
    return found.order_by("address", "ref", "id")


def boiler(one: Boiler, release: Catalogue, at: datetime) -> BoilerSeen:
    """Read a boiler with its places at `at`, in six queries."""
    own = Boiler.objects.filter(id=one.id)
    known = Known.within(own, Building.objects.filter(id=one.building_id), at)
    refs = {str(p.id): p.ref for p in known.positions.values()}
    dated = {key: known.settings.get((one.id, key)) for key in ON_BOILER}
    order = {code: (role.hazard, role.part, role.order) for code, role in release.roles.items()}
    listed = sorted(known.positions.values(), key=lambda p: (order.get(p.role, ("", "", 0)), p.ref))
    places = [_place(place, known, refs, release) for place in listed]
    return BoilerSeen(one, {key: d.value for key, d in dated.items() if d}, places)


def _place(place: Place, known: Known, refs: dict[str, str], release: Catalogue) -> PlaceSeen:
    now = known.fittings.get(place.id, NOBODY).now
    paths, needed = known.settings.get((place.id, "paths")), known.settings.get((place.id, "needed"))
    stamped = export.values(place, now, known, release) if now and now.kind else {}
    hangs_on = [refs[p] for p in paths.value if p in refs] if paths else []
    return PlaceSeen(place, now if now and now.kind else None, stamped, hangs_on, needed.value if needed else None)


def papers(building: UUID, boilers: Iterable[UUID] | None = None) -> list[Paper]:
    """Return the papers of a building and of these boilers, the earliest end first, without replaced ones."""
    rows = Paper.objects.filter(building=building).select_related("boiler").order_by("posted_at")
    if boilers is not None:
        rows = rows.filter(Q(boiler=None) | Q(boiler__in=list(boilers)))
    newest = {(r.boiler_id, r.kind, r.since): r for r in rows}
    return sorted(newest.values(), key=lambda r: (r.until, r.kind))
