"""Reading the register: buildings and places somebody may see, what is set up, what papers are in force."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.portfolio.models import Boiler, Building, Paper, Portfolio, Position, Setting


def buildings(boilers: QuerySet[Boiler], portfolios: QuerySet[Portfolio]) -> QuerySet[Building]:
    """Those these boilers stand in and those of portfolios seen as a whole, with all that is told of them."""
    found = Building.objects.filter(Q(portfolio__in=portfolios) | Q(id__in=boilers.values("building")))
    return found.prefetch_related("boilers", "papers", "header_groups")


def papers(building: Building, at: datetime) -> list[Paper]:
    """The newest of each kind, of the building and of each of its boilers."""
    begun = (p for p in building.papers.all() if p.since <= at)
    newest = {(p.boiler_id, p.kind): p for p in sorted(begun, key=lambda p: (p.since, p.posted_at))}
    return sorted(newest.values(), key=lambda p: (p.until, p.kind, p.id))


def positions(boilers: QuerySet[Boiler]) -> QuerySet[Position]:
    """The places on these boilers, and on the header groups they belong to."""
    return Position.objects.filter(Q(boiler__in=boilers) | Q(header_group__in=_groups(boilers)))


def _groups(boilers: QuerySet[Boiler]) -> QuerySet[Any, Any]:
    return boilers.filter(header_group__isnull=False).values("header_group")


def matching(boilers: QuerySet[Boiler], text: str) -> QuerySet[Boiler]:
    """Those where every word of a text stands in a ref, a name or the address."""
    for word in text.split():
        columns = ("ref", "name", "building__ref", "building__address")
        named = Q(pk__in=())
        for column in columns:
            named |= Q(**{f"{column}__icontains": word})
        boilers = boilers.filter(named)
    return boilers


def set_up(boilers: Iterable[UUID], at: datetime) -> dict[UUID, dict[str, Any]]:
    """What is set up on each boiler at `at`: of two statements about one instant the one posted later holds."""
    said = Setting.objects.filter(boiler__in=list(boilers), since__lte=at).order_by("since", "posted_at")
    found: dict[UUID, dict[str, Any]] = {}
    for boiler, key, value in said.values_list("boiler", "key", "value"):
        found.setdefault(boiler, {})[key] = value
    return found
