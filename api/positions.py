"""Endpoints of positions: the state of each with its reason, its device, its proofs and when they are due."""

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

from api.http.answers import ReasonSerializer, RelaySerializer
from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.strict import IdField
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.assessments.proofs import Proof, proofs_of_stay
from fleet.board import standing_columns
from fleet.board.models import StateSegment
from fleet.catalog import queries as catalog
from fleet.portfolio import queries as register
from fleet.portfolio.models import Position
from fleet.rules.catalogue import Catalogue
from fleet.rules.values import State
from fleet.rules.vocabulary import values_of
from fleet.terms import queries as terms
from fleet.visits import places as visit_places
from fleet.visits.places import PlaceValue, Stay

POSITION_PATH_PARAMETER = OpenApiParameter("position", UUID, OpenApiParameter.PATH)
STATES = values_of(State)
NOT_JUDGED_REASON = {"rule": "", "sentence": "It has not been judged yet.", "hazard": "", "position": None}


class PositionsQuerySerializer(PageSerializer):
    """Filters of the list of positions."""

    boiler = IdField(required=False)
    building = IdField(required=False)
    state = serializers.ChoiceField(choices=STATES, required=False)


class PlaceSerializer(serializers.Serializer[object]):
    """A position on a boiler or its header group, with the state of the device that fills it."""

    id = serializers.UUIDField(source="row.id")
    boiler = serializers.UUIDField(source="row.boiler_id", allow_null=True)
    header_group = serializers.UUIDField(source="row.header_group_id", allow_null=True)
    ref = serializers.CharField(source="row.ref")
    name = serializers.CharField(source="row.name")
    role = serializers.CharField(source="row.role_id")
    state = serializers.ChoiceField(choices=STATES, allow_blank=True, source="row.state")
    since = serializers.DateTimeField(allow_null=True)
    until = serializers.DateTimeField(allow_null=True)
    marks = serializers.ListField(child=serializers.CharField())
    reason = ReasonSerializer()


class OccupantSerializer(serializers.Serializer[object]):
    """A device in a position from its fitting to its removal. Names of `attributes` end in their units."""

    device = serializers.UUIDField(source="device.id")
    kind = serializers.CharField(source="device.kind_id")
    name = serializers.CharField(source="device.kind.name")
    attributes = serializers.DictField(child=serializers.JSONField(), source="device.attributes")
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)


class ProofSerializer(serializers.Serializer[object]):
    """The newest pass of a procedure by the present device, and when time alone makes it due again."""

    procedure = serializers.CharField()
    name = serializers.CharField()
    proof = serializers.ChoiceField(choices=("full", "partial", "due_only", "none"))
    passed_at = serializers.DateTimeField()
    visit = serializers.UUIDField()
    entry = serializers.UUIDField()
    due_at = serializers.DateTimeField(allow_null=True)
    lapses_at = serializers.DateTimeField(allow_null=True)
    relay = RelaySerializer(allow_null=True)


class SettingSerializer(serializers.Serializer[object]):
    """A value set at a position, and since when. `key` ends in the unit."""

    key = serializers.CharField()
    value = serializers.JSONField()
    since = serializers.DateTimeField()


class PathSerializer(serializers.Serializer[object]):
    """A position this one hangs on. If it is fouled or failed, this position fails too."""

    position = serializers.UUIDField(source="id")
    name = serializers.CharField()


class PlaceWholeSerializer(PlaceSerializer):
    """One position with all its details."""

    hazard = serializers.CharField()
    part = serializers.CharField()
    needed = serializers.BooleanField()
    paths = PathSerializer(many=True)
    settings = SettingSerializer(many=True)
    occupant = OccupantSerializer(allow_null=True)
    earlier = OccupantSerializer(many=True)
    proofs = ProofSerializer(many=True)


@dataclass(frozen=True, slots=True)
class PositionItem:
    """A position with its current segment. The segment is None before the position was first judged."""

    row: Any
    segment: StateSegment | None

    @property
    def since(self) -> datetime | None:
        """Start of the state."""
        return self.segment.since if self.segment else None

    @property
    def until(self) -> datetime | None:
        """End of the state, if time alone ends it."""
        return self.segment.until if self.segment else None

    @property
    def marks(self) -> list[str]:
        """Marks of the state: declared, doubtful, looser."""
        return self.segment.marks if self.segment else []

    @property
    def reason(self) -> dict[str, Any]:
        """Reason of the state."""
        return self.segment.reason if self.segment else {**NOT_JUDGED_REASON, "entry": None, "since": None}


@dataclass(frozen=True, slots=True)
class PositionDetail(PositionItem):
    """A position with its occupants, paths, settings and proofs."""

    hazard: str
    part: str
    needed: bool
    paths: Sequence[Position]
    settings: Sequence[PlaceValue]
    occupant: Stay | None
    earlier: Sequence[Stay]
    proofs: Sequence[Proof]


def present_positions(rows: Sequence[Any]) -> list[PositionItem]:
    """Return each position with its state. Takes one query."""
    segments = standing_columns.states_by_id(r.segment for r in rows)
    return [PositionItem(r, segments.get(r.segment)) for r in rows]


@describe_list("listPositions")
class PositionListEndpoint(ListEndpoint):
    """Positions on boilers."""

    query_serializer, item_serializer, order = PositionsQuerySerializer, PlaceSerializer, ("ref", "id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Position]:
        """Return the positions on boilers that the user may see."""
        columns, query = {"boiler": "id", "building": "building"}, walk.query
        boilers = policy.boilers_for(user_of(request), self.action, walk.now)
        boilers = boilers.filter(**{c: query[n] for n, c in columns.items() if n in query})
        rows = standing_columns.with_state(register.positions_of(boilers), walk.at, query.get("boiler"))
        return rows.filter(state=query["state"]) if "state" in query else rows  # type: ignore[misc]

    def present_rows(self, rows: Sequence[Any], walk: ListWalk) -> Iterable[PositionItem]:
        """Add the states."""
        return present_positions(rows)


@describe_detail("getPosition", POSITION_PATH_PARAMETER)
class PositionEndpoint(DetailEndpoint):
    """One position."""

    item_serializer = PlaceWholeSerializer

    def find_item(self, request: Request, at: datetime, **where: UUID) -> PositionDetail:
        """Return the position with all its details."""
        boilers = policy.boilers_for(user_of(request), self.action, at)
        rows = standing_columns.with_state(register.positions_of(boilers), at).filter(id=where["position"])
        row = rows.select_related("role", "boiler__building", "header_group__building").first()
        if row is None:
            raise Http404
        return present_position_detail(row, at)


def present_position_detail(row: Any, at: datetime) -> PositionDetail:
    """Return a position with all its details as of `at`."""
    release = catalog.catalogue_at(at)
    building = (row.boiler or row.header_group).building
    stays, values = (
        visit_places.stays_at_places([row.id], at).get(row.id, []),
        visit_places.values_at_places([row.id], at).get(row.id, []),
    )
    values_by_key = {v.key: v.value for v in values}
    occupant = visit_places.present_stay(stays)
    adopted = terms.terms_in_force(row.portfolio_id, building.zone, at)
    return PositionDetail(
        **{name: getattr(present_positions([row])[0], name) for name in ("row", "segment")},
        hazard=release.roles[row.role_id].hazard,
        part=release.roles[row.role_id].part,
        needed=_is_needed(row, values_by_key, release, at),
        paths=list(Position.objects.filter(id__in=values_by_key.get("paths") or []).order_by("ref")),
        settings=[v for v in values if v.key not in ("paths", "needed")],
        occupant=occupant,
        earlier=[s for s in reversed(stays) if s is not occupant],
        proofs=proofs_of_stay(occupant, adopted, release=release, zone=building.zone, at=at) if occupant else [],
    )


def _is_needed(row: Any, values_by_key: dict[str, Any], release: Catalogue, at: datetime) -> bool:
    """Return whether the position is needed: a protection is, unless the register says otherwise.

    The upper cutoff is not needed where one cutoff is enough.
    """
    boiler_set_up = register.boiler_settings_at([row.boiler_id], at).get(row.boiler_id, {}) if row.boiler_id else {}
    if row.role_id == "upper_cutoff" and boiler_set_up.get("cutoffs_needed") == 1:
        return False
    return bool(values_by_key.get("needed", release.roles[row.role_id].part == "protection"))
