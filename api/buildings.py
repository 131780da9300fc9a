"""Endpoints of buildings: address, time zone, access hours, boilers and papers in force."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.strict import IdField
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.portfolio import queries
from fleet.portfolio.models import Boiler, HeaderGroup, Paper
from fleet.portfolio.models import Building as Row

BUILDING_PATH_PARAMETER = OpenApiParameter("building", UUID, OpenApiParameter.PATH)
ACTION = "register.see"


class BuildingsQuerySerializer(PageSerializer):
    """Filters of the list of buildings."""

    portfolio = IdField(required=False)


class StandsSerializer(serializers.Serializer[object]):
    """A boiler in a building."""

    id = serializers.UUIDField()
    ref = serializers.CharField()
    name = serializers.CharField()
    header_group = serializers.UUIDField(source="header_group_id", allow_null=True)


class PaperSerializer(serializers.Serializer[object]):
    """A dated paper of a building or of one of its boilers. `until` is its last local day."""

    id = serializers.UUIDField()
    boiler = serializers.UUIDField(source="boiler_id", allow_null=True)
    kind = serializers.CharField()
    name = serializers.CharField()
    since = serializers.DateTimeField()
    until = serializers.DateField()


class HeaderGroupSerializer(serializers.Serializer[object]):
    """A group of boilers that share a header, returns, feed tank or vent."""

    id = serializers.UUIDField()
    ref = serializers.CharField()


class BuildingSerializer(serializers.Serializer[object]):
    """A building at one address. An empty `access_hours` means no restriction.

    `latitude_deg` and `longitude_deg` (WGS 84) are null where they are not on record.
    """

    id = serializers.UUIDField(source="row.id")
    portfolio = serializers.UUIDField(source="row.portfolio_id")
    ref = serializers.CharField(source="row.ref")
    address = serializers.CharField(source="row.address")
    zone = serializers.CharField(source="row.zone")
    units = serializers.IntegerField(source="row.units")
    access_hours = serializers.CharField(source="row.access_hours", allow_blank=True)
    latitude_deg = serializers.FloatField(source="row.latitude_deg", allow_null=True)
    longitude_deg = serializers.FloatField(source="row.longitude_deg", allow_null=True)
    boilers = StandsSerializer(many=True)
    papers = PaperSerializer(many=True)
    header_groups = HeaderGroupSerializer(many=True)


@dataclass(frozen=True, slots=True)
class BuildingItem:
    """A building with its boilers, its header groups, and the papers in force at `at`."""

    row: Any
    at: datetime

    @property
    def boilers(self) -> list[Boiler]:
        """Sorted by ref."""
        return sorted(self.row.boilers.all(), key=lambda b: b.ref)

    @property
    def papers(self) -> list[Paper]:
        """The newest paper of each kind."""
        return queries.current_papers(self.row, self.at)

    @property
    def header_groups(self) -> list[HeaderGroup]:
        """Sorted by ref."""
        return sorted(self.row.header_groups.all(), key=lambda g: g.ref)


def visible_buildings(request: Request, at: datetime) -> QuerySet[Row]:
    """Return the buildings that the user may see."""
    user = user_of(request)
    return queries.buildings_of(policy.boilers_for(user, ACTION, at), policy.portfolios_for(user, ACTION, at))


@describe_list("listBuildings")
class BuildingListEndpoint(ListEndpoint):
    """Buildings."""

    query_serializer, item_serializer, action, order = (
        BuildingsQuerySerializer,
        BuildingSerializer,
        ACTION,
        ("ref", "id"),
    )

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Row]:
        """Return the buildings that the user may see and asked for."""
        rows = visible_buildings(request, walk.now)
        return rows.filter(portfolio=walk.query["portfolio"]) if "portfolio" in walk.query else rows

    def present_rows(self, rows: Sequence[Any], walk: ListWalk) -> Iterable[BuildingItem]:
        """Add boilers, papers and header groups."""
        return [BuildingItem(r, walk.at) for r in rows]


@describe_detail("getBuilding", BUILDING_PATH_PARAMETER)
class BuildingEndpoint(DetailEndpoint):
    """One building."""

    item_serializer, action = BuildingSerializer, ACTION

    def find_item(self, request: Request, at: datetime, **where: UUID) -> BuildingItem:
        """Return the building with its boilers, papers and header groups."""
        row = visible_buildings(request, at).filter(id=where["building"]).first()
        if row is None:
            raise Http404
        return BuildingItem(row, at)
