"""Endpoints of portfolios: counts of standings, and the release and terms that boilers are judged by."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.paged_lists import ListEndpoint, ListWalk, describe_list
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.board import standing_columns
from fleet.catalog import queries as catalog
from fleet.portfolio.models import Portfolio as Row
from fleet.rules.values import STANDINGS
from fleet.terms import queries as terms

PORTFOLIO_PATH_PARAMETER = OpenApiParameter("portfolio", UUID, OpenApiParameter.PATH)
NO_BOILERS = dict.fromkeys(STANDINGS, 0)
CountsSerializer = type(
    "CountsSerializer",
    (serializers.Serializer,),
    {**{s: serializers.IntegerField() for s in STANDINGS}, "__doc__": "How many boilers stand where now."},
)


class LinksSerializer(serializers.Serializer[object]):
    """Paths of related lists."""

    boilers = serializers.CharField()
    buildings = serializers.CharField()
    deficiencies = serializers.CharField()
    terms = serializers.CharField()


class PortfolioSerializer(serializers.Serializer[object]):
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
class PortfolioItem:
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


def visible_portfolios(request: Request, at: datetime) -> QuerySet[Row]:
    """Return the portfolios of which the user may see anything."""
    return Row.objects.filter(id__in=policy.grants_for(user_of(request), "board.see", at).values("portfolio"))


def present_portfolios(request: Request, rows: Iterable[Row], now: datetime, at: datetime) -> list[PortfolioItem]:
    """Return each portfolio with its counts, and release and terms in force. Takes three queries."""
    counts = standing_columns.count_standings(policy.boilers_for(user_of(request), "board.see", now), at)
    day = at.astimezone(UTC).date()
    release, adopted = catalog.release_number_on(day), terms.versions_on(day)
    return [PortfolioItem(r, counts.get(r.id, NO_BOILERS), release, adopted.get(r.id, 0)) for r in rows]


@describe_list("listPortfolios")
class PortfolioListEndpoint(ListEndpoint):
    """The portfolios of which the caller may see something."""

    item_serializer, order = PortfolioSerializer, ("ref", "id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Row]:
        """Return the portfolios that the user has grants in."""
        return visible_portfolios(request, walk.now)

    def present_rows(self, rows: Sequence[Row], walk: ListWalk) -> Iterable[PortfolioItem]:
        """Add the counts."""
        return present_portfolios(self.request, rows, walk.now, walk.at)


@describe_detail("getPortfolio", PORTFOLIO_PATH_PARAMETER)
class PortfolioEndpoint(DetailEndpoint):
    """One portfolio."""

    item_serializer = PortfolioSerializer

    def find_item(self, request: Request, at: datetime, **where: UUID) -> PortfolioItem:
        """Return the portfolio with its counts."""
        row = visible_portfolios(request, at).filter(id=where["portfolio"]).first()
        if row is None:
            raise Http404
        return present_portfolios(request, [row], at, at)[0]
