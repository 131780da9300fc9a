"""Reading the register: buildings and places somebody may see, boiler settings, papers in force."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.portfolio.models import Boiler, Building, Paper, Portfolio, Position, Setting


def buildings_of(boilers: QuerySet[Boiler], portfolios: QuerySet[Portfolio]) -> QuerySet[Building]:
    """Return the buildings of these boilers and all of these portfolios, with boilers, papers and header groups."""
    rows = Building.objects.filter(Q(portfolio__in=portfolios) | Q(id__in=boilers.values("building")))
    return rows.prefetch_related("boilers", "papers", "header_groups")


def current_papers(building: Building, at: datetime) -> list[Paper]:
    """Return the newest paper of each kind begun by `at`, of the building and of each boiler, by their ends."""
    begun = (p for p in building.papers.all() if p.since <= at)
    newest = {(p.boiler_id, p.kind): p for p in sorted(begun, key=lambda p: (p.since, p.posted_at))}
    return sorted(newest.values(), key=lambda p: (p.until, p.kind, p.id))


def positions_of(boilers: QuerySet[Boiler]) -> QuerySet[Position]:
    """Return the positions of these boilers and of their header groups."""
    return Position.objects.filter(Q(boiler__in=boilers) | Q(header_group__in=_header_groups_of(boilers)))


def _header_groups_of(boilers: QuerySet[Boiler]) -> QuerySet[Any, Any]:
    return boilers.filter(header_group__isnull=False).values("header_group")


def boilers_matching(boilers: QuerySet[Boiler], text: str) -> QuerySet[Boiler]:
    """Return the boilers where every word of a text occurs in a ref, the name or the address."""
    for word in text.split():
        columns = ("ref", "name", "building__ref", "building__address")
        matches = Q(pk__in=())
        for column in columns:
            matches |= Q(**{f"{column}__icontains": word})
        boilers = boilers.filter(matches)
    return boilers


def boiler_settings_at(boilers: Iterable[UUID], at: datetime) -> dict[UUID, dict[str, Any]]:
    """Return the settings of each boiler in force at `at`; of two about one instant the one posted later holds."""
    statements = Setting.objects.filter(boiler__in=list(boilers), since__lte=at).order_by("since", "posted_at")
    by_boiler: dict[UUID, dict[str, Any]] = {}
    for boiler, key, value in statements.values_list("boiler", "key", "value"):
        by_boiler.setdefault(boiler, {})[key] = value
    return by_boiler
