"""Endpoints of portfolios: counts of standings, and the release and terms that boilers are judged by."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.answers import STANDINGS
from api.pages import List, Walk, described
from api.single import Single, described_one
from fleet.accounts import policy
from fleet.board import listed
from fleet.catalog import queries as catalog
from fleet.portfolio.models import Portfolio as Row
from fleet.rules.values import Standing
from fleet.terms import queries as terms

ONE = OpenApiParameter("portfolio", UUID, OpenApiParameter.PATH)
NONE = {s.value: 0 for s in Standing}
CountsSerializer = type(
    "CountsSerializer",
    (serializers.Serializer,),
    {**{s: serializers.IntegerField() for s in STANDINGS}, "__doc__": "How many boilers stand where now."},
)


class LinksSerializer(serializers.Serializer[Any]):
    """Paths of related lists."""

    boilers = serializers.CharField()
    buildings = serializers.CharField()
    deficiencies = serializers.CharField()
    terms = serializers.CharField()


class PortfolioSerializer(serializers.Serializer[Any]):
    """A portfolio as far as the caller may see it. `terms` 0 are the defaults."""

    id = serializers.UUIDField(source="row.id")
    ref = serializers.CharField(source="row.ref")
    name = serializers.CharField(source="row.name")
    boilers = serializers.IntegerField()
    standings = CountsSerializer()
    release = serializers.IntegerField(allow_null=True)
    terms = serializers.IntegerField()
    links = LinksSerializer()


@dataclass(frozen=True, slots=True)
class Told:
    """A portfolio with the counts of its boilers' standings."""

    row: Row
    standings: Mapping[str, int]
    release: int | None
    terms: int

    @property
    def boilers(self) -> int:
        """Number of boilers that may be seen."""
        return sum(self.standings.values())

    @property
    def links(self) -> dict[str, str]:
        """Paths of related lists."""
        lists = {n: f"/api/v1/{n}/?portfolio={self.row.id}" for n in ("boilers", "buildings", "deficiencies")}
        return {**lists, "terms": f"/api/v1/portfolios/{self.row.id}/terms/"}


def seen(request: Request, at: datetime) -> QuerySet[Row]:
    """Return the portfolios of which the user may see anything."""
    return Row.objects.filter(id__in=policy.grants(request.user, "board.see", at).values("portfolio"))


def told(request: Request, rows: Iterable[Row], now: datetime, at: datetime) -> list[Told]:
    """Return each portfolio with its counts, and release and terms in force. Takes three queries."""
    counted = listed.counts(policy.boilers(request.user, "board.see", now), at)
    day = at.astimezone(UTC).date()
    release, adopted = catalog.current(day), terms.versions(day)
    return [Told(r, counted.get(r.id, NONE), release, adopted.get(r.id, 0)) for r in rows]


@described("listPortfolios")
class Portfolios(List):
    """The portfolios of which the caller may see something."""

    item, order = PortfolioSerializer, ("ref", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Row]:
        """Return the portfolios that the user has grants in."""
        return seen(request, walk.now)

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Told]:
        """Add the counts."""
        return told(self.request, rows, walk.now, walk.at)


@described_one("getPortfolio", ONE)
class Portfolio(Single):
    """One portfolio."""

    item = PortfolioSerializer

    def one(self, request: Request, at: datetime, **where: UUID) -> Told:
        """Return the portfolio with its counts."""
        row = seen(request, at).filter(id=where["portfolio"]).first()
        if row is None:
            raise Http404
        return told(request, [row], at, at)[0]
