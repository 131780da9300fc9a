"""Endpoints of devices: their attributes, the positions they filled and when, and the outcomes of their tests."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.strict import IdField, TextField
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.assessments.proofs import count_outcomes
from fleet.portfolio import queries as register
from fleet.portfolio.models import Device as Row
from fleet.portfolio.models import Position
from fleet.rules.vocabulary import CLAIMED_OUTCOMES, values_of
from fleet.visits import places
from fleet.visits.places import Stay

DEVICE_PATH_PARAMETER = OpenApiParameter("device", UUID, OpenApiParameter.PATH)
OUTCOMES = values_of(CLAIMED_OUTCOMES)


class DevicesQuerySerializer(PageSerializer):
    """Filters of the list of devices."""

    portfolio = IdField(required=False)
    boiler = IdField(required=False)
    kind = TextField(required=False, max_length=40)


class StaySerializer(serializers.Serializer[object]):
    """A position that the device filled. It is still there where `until` is null."""

    position = serializers.UUIDField()
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)


class FittedDeviceSerializer(serializers.Serializer[object]):
    """A device. Names of `attributes` end in their units. `outcomes` counts its tests by present knowledge."""

    id = serializers.UUIDField(source="row.id")
    portfolio = serializers.UUIDField(source="row.portfolio_id")
    kind = serializers.CharField(source="row.kind_id")
    name = serializers.CharField(source="row.kind.name")
    attributes = serializers.DictField(child=serializers.JSONField(), source="row.attributes")
    fitted = StaySerializer(many=True)
    outcomes = serializers.DictField(child=serializers.IntegerField())


@dataclass(frozen=True, slots=True)
class DeviceItem:
    """A device with the positions it filled and the counts of its test outcomes."""

    row: Row
    fitted: Sequence[Stay]
    outcomes: Mapping[str, int]


def visible_positions(request: Request, at: datetime, **filters: UUID) -> QuerySet[Position]:
    """Return the positions that the user may see, on boilers with these column values."""
    return register.positions_of(policy.boilers_for(user_of(request), "board.see", at).filter(**filters))


def present_devices(rows: Sequence[Row], positions: QuerySet[Position], at: datetime) -> list[DeviceItem]:
    """Return each device with its stays and counts. Takes four queries."""
    stays = places.stays_of_devices([r.id for r in rows], positions, at)
    all_stays = [s for device_stays in stays.values() for s in device_stays]
    outcomes = count_outcomes(all_stays, list({s.position for s in all_stays}), at)
    return [DeviceItem(r, stays.get(r.id, []), outcomes.get(r.id, {})) for r in rows]


@describe_list("listDevices")
class DeviceListEndpoint(ListEndpoint):
    """Devices that fill or filled a position the caller may see."""

    query_serializer, item_serializer, order = DevicesQuerySerializer, FittedDeviceSerializer, ("kind_id", "id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Row]:
        """Return the devices of the visible positions."""
        columns, query = {"boiler": "id", "portfolio": "portfolio"}, walk.query
        positions = visible_positions(request, walk.now, **{c: query[n] for n, c in columns.items() if n in query})
        rows = places.devices_at_places(positions)
        return rows.filter(kind=query["kind"]) if "kind" in query else rows

    def present_rows(self, rows: Sequence[Row], walk: ListWalk) -> Iterable[DeviceItem]:
        """Add stays and counts."""
        return present_devices(rows, visible_positions(self.request, walk.now), walk.at)


@describe_detail("getDevice", DEVICE_PATH_PARAMETER)
class DeviceEndpoint(DetailEndpoint):
    """One device."""

    item_serializer = FittedDeviceSerializer

    def find_item(self, request: Request, at: datetime, **where: UUID) -> DeviceItem:
        """Return the device with its stays and counts."""
        positions = visible_positions(request, at)
        row = places.devices_at_places(positions).filter(id=where["device"]).first()
        if row is None:
            raise Http404
        return present_devices([row], positions, at)[0]
