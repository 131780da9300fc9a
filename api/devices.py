"""Endpoints of devices: their attributes, the positions they filled and when, and the outcomes of their tests."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.pages import List, PageSerializer, Walk, described
from api.single import Single, described_one
from api.strict import IdField, TextField
from fleet.accounts import policy
from fleet.assessments.proofs import counted
from fleet.portfolio import queries as register
from fleet.portfolio.models import Device as Row
from fleet.portfolio.models import Position
from fleet.rules.vocabulary import CLAIMED_OUTCOMES
from fleet.visits import places
from fleet.visits.places import Stay

ONE = OpenApiParameter("device", UUID, OpenApiParameter.PATH)
OUTCOMES = tuple(outcome.value for outcome in CLAIMED_OUTCOMES)


class DevicesAskedSerializer(PageSerializer):
    """Filters of the list of devices."""

    portfolio = IdField(required=False)
    boiler = IdField(required=False)
    kind = TextField(required=False, max_length=40)


class StaySerializer(serializers.Serializer[Any]):
    """A position that the device filled. It is still there where `until` is null."""

    position = serializers.UUIDField()
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)


class FittedDeviceSerializer(serializers.Serializer[Any]):
    """A device. Names of `attributes` end in their units. `outcomes` counts its tests by present knowledge."""

    id = serializers.UUIDField(source="row.id")
    portfolio = serializers.UUIDField(source="row.portfolio_id")
    kind = serializers.CharField(source="row.kind_id")
    name = serializers.CharField(source="row.kind.name")
    attributes = serializers.DictField(child=serializers.JSONField(), source="row.attributes")
    fitted = StaySerializer(many=True)
    outcomes = serializers.DictField(child=serializers.IntegerField())


@dataclass(frozen=True, slots=True)
class Told:
    """A device with the positions it filled and the counts of its test outcomes."""

    row: Row
    fitted: Sequence[Stay]
    outcomes: Mapping[str, int]


def seen(request: Request, at: datetime, **of: UUID) -> QuerySet[Position]:
    """Return the positions that the user may see, on boilers with these column values."""
    return register.positions(policy.boilers(request.user, "board.see", at).filter(**of))


def told(rows: Sequence[Row], positions: QuerySet[Position], at: datetime) -> list[Told]:
    """Return each device with its stays and counts. Takes four queries."""
    stays = places.of_devices([r.id for r in rows], positions, at)
    listed = [s for own in stays.values() for s in own]
    outcomes = counted(listed, list({s.position for s in listed}), at)
    return [Told(r, stays.get(r.id, []), outcomes.get(r.id, {})) for r in rows]


@described("listDevices")
class Devices(List):
    """Devices that fill or filled a position the caller may see."""

    form, item, order = DevicesAskedSerializer, FittedDeviceSerializer, ("kind_id", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Row]:
        """Return the devices of the visible positions."""
        columns, given = {"boiler": "id", "portfolio": "portfolio"}, walk.given
        positions = seen(request, walk.now, **{c: given[n] for n, c in columns.items() if n in given})
        rows = places.at_places(positions)
        return rows.filter(kind=given["kind"]) if "kind" in given else rows

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Told]:
        """Add stays and counts."""
        return told(rows, seen(self.request, walk.now), walk.at)


@described_one("getDevice", ONE)
class Device(Single):
    """One device."""

    item = FittedDeviceSerializer

    def one(self, request: Request, at: datetime, **where: UUID) -> Told:
        """Return the device with its stays and counts."""
        positions = seen(request, at)
        row = places.at_places(positions).filter(id=where["device"]).first()
        if row is None:
            raise Http404
        return told([row], positions, at)[0]
