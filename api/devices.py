"""Devices: what is stamped on each, where it was from when to when, and how its tests came out."""

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
from fleet.visits import places
from fleet.visits.places import Stay

ONE = OpenApiParameter("device", UUID, OpenApiParameter.PATH)
OUTCOMES = ("pass", "fail", "inconclusive", "not_done")


class DevicesAskedSerializer(PageSerializer):
    """Which devices."""

    portfolio = IdField(required=False)
    boiler = IdField(required=False)
    kind = TextField(required=False, max_length=40)


class StaySerializer(serializers.Serializer[Any]):
    """Where it was; `until` null is still there."""

    position = serializers.UUIDField()
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)


class FittedDeviceSerializer(serializers.Serializer[Any]):
    """A device; its attributes' names end in their units, `outcomes` counts its tests by present knowledge."""

    id = serializers.UUIDField(source="row.id")
    portfolio = serializers.UUIDField(source="row.portfolio_id")
    kind = serializers.CharField(source="row.kind_id")
    name = serializers.CharField(source="row.kind.name")
    attributes = serializers.DictField(child=serializers.JSONField(), source="row.attributes")
    fitted = StaySerializer(many=True)
    outcomes = serializers.DictField(child=serializers.IntegerField())


@dataclass(frozen=True, slots=True)
class Told:
    """A device, its places and what was found of it."""

    row: Row
    fitted: Sequence[Stay]
    outcomes: Mapping[str, int]


def seen(request: Request, at: datetime, **of: UUID) -> QuerySet[Position]:
    """The places that may be seen."""
    return register.positions(policy.boilers(request.user, "board.see", at).filter(**of))


def told(rows: Sequence[Row], positions: QuerySet[Position], at: datetime) -> list[Told]:
    """Each with its places and counts: four queries."""
    stays = places.of_devices([r.id for r in rows], positions, at)
    listed = [s for own in stays.values() for s in own]
    outcomes = counted(listed, list({s.position for s in listed}), at)
    return [Told(r, stays.get(r.id, []), outcomes.get(r.id, {})) for r in rows]


@described("listDevices")
class Devices(List):
    """Devices that fill a place that may be seen, or filled one."""

    form, item, order = DevicesAskedSerializer, FittedDeviceSerializer, ("kind_id", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Row]:
        """By their places."""
        columns, given = {"boiler": "id", "portfolio": "portfolio"}, walk.given
        positions = seen(request, walk.now, **{c: given[n] for n, c in columns.items() if n in given})
        rows = places.at_places(positions)
        return rows.filter(kind=given["kind"]) if "kind" in given else rows

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Told]:
        """With their places."""
        return told(rows, seen(self.request, walk.now), walk.at)


@described_one("getDevice", ONE)
class Device(Single):
    """One device."""

    item = FittedDeviceSerializer

    def one(self, request: Request, at: datetime, **where: UUID) -> Told:
        """With its places."""
        positions = seen(request, at)
        row = places.at_places(positions).filter(id=where["device"]).first()
        if row is None:
            raise Http404
        return told([row], positions, at)[0]
