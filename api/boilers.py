"""Endpoints of boilers: their standings with reasons, one boiler with its set-up, and its positions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.examples import LIST_BOILERS
from api.http.access import boiler_for
from api.http.answers import ReasonSerializer
from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.strict import IdField, TextField
from api.positions import PlaceSerializer, present_positions
from api.register_gaps import RegisterGapSerializer
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.board import standing_columns
from fleet.board.models import Segment
from fleet.catalog.queries import catalogue_at
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler as Row
from fleet.rules.needed_roles import RegisterGap
from fleet.rules.values import STANDINGS, ServiceMode
from fleet.rules.vocabulary import values_of
from fleet.visits import register_gaps

ORDERS = {
    "worst": ("rank", "building__ref", "ref", "id"),
    "place": ("building__ref", "ref", "id"),
}
BOILER_PATH_PARAMETER = OpenApiParameter("boiler", UUID, OpenApiParameter.PATH)


class BoilersQuerySerializer(PageSerializer):
    """Filters and order of the list of boilers."""

    portfolio = IdField(required=False)
    building = IdField(required=False)
    standing = serializers.ChoiceField(choices=STANDINGS, required=False)
    text = TextField(required=False, max_length=200, help_text="Words in refs, names or the address.")
    order = serializers.ChoiceField(
        choices=tuple(ORDERS),
        default="worst",
        help_text="`worst`: by standing as of the first page. `place`: by refs, which nothing that happens can move.",
    )


class BoilerSerializer(serializers.Serializer[object]):
    """A boiler and its standing. `since` null: it always was. `until` null: time alone will not end it."""

    id = serializers.UUIDField(source="row.id")
    portfolio = serializers.UUIDField(source="row.portfolio_id")
    building = serializers.UUIDField(source="row.building_id")
    address = serializers.CharField(source="row.building.address")
    ref = serializers.CharField(source="row.ref")
    name = serializers.CharField(source="row.name")
    standing = serializers.ChoiceField(choices=STANDINGS, source="row.standing")
    since = serializers.DateTimeField(allow_null=True)
    until = serializers.DateTimeField(allow_null=True)
    reason = serializers.CharField(help_text="The first reason in one sentence.")
    reasons = ReasonSerializer(many=True)
    then = serializers.CharField()
    service_state = serializers.ChoiceField(choices=values_of(ServiceMode), source="row.service")


class BoilerWholeSerializer(BoilerSerializer):
    """One boiler with its data in the register. Names in `set_up` end in their units."""

    header_group = serializers.UUIDField(source="row.header_group_id", allow_null=True)
    in_register_since = serializers.DateTimeField(source="row.since")
    set_up = serializers.DictField(child=serializers.JSONField())
    not_on_record = RegisterGapSerializer(many=True, source="gaps")


@dataclass(frozen=True, slots=True)
class BoilerItem:
    """A boiler with its current segment. The segment is None before the boiler was first judged."""

    row: Any
    segment: Segment | None
    set_up: dict[str, Any]
    gaps: Sequence[RegisterGap] = ()

    @property
    def since(self) -> datetime | None:
        """Start of the standing."""
        return self.segment.since if self.segment else None

    @property
    def until(self) -> datetime | None:
        """End of the standing, if time alone ends it."""
        return self.segment.until if self.segment else None

    @property
    def reasons(self) -> list[dict[str, Any]]:
        """Reasons of the standing."""
        return self.segment.reasons if self.segment else []

    @property
    def reason(self) -> str:
        """Sentence of the first reason."""
        return str(self.reasons[0]["sentence"]) if self.reasons else "It has not been judged yet."

    @property
    def then(self) -> str:
        """What to do next."""
        return self.segment.then if self.segment else ""


def present_boilers(rows: Sequence[Any], set_up: dict[UUID, dict[str, Any]] | None = None) -> list[BoilerItem]:
    """Return each boiler with its segment. Takes one query."""
    segments = standing_columns.segments_by_id(r.segment for r in rows)
    return [BoilerItem(r, segments.get(r.segment), (set_up or {}).get(r.id, {})) for r in rows]


@describe_list("listBoilers", examples=LIST_BOILERS)
class BoilerListEndpoint(ListEndpoint):
    """Boilers with their standings."""

    query_serializer, item_serializer = BoilersQuerySerializer, BoilerSerializer

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Row]:
        """Return the boilers that the user may see and asked for."""
        boilers, query = policy.boilers_for(user_of(request), self.action, walk.now), walk.query
        boilers = boilers.filter(**{n: query[n] for n in ("portfolio", "building") if n in query})
        rows = standing_columns.with_standing(register.boilers_matching(boilers, query.get("text", "")), walk.at)
        return rows.filter(standing=query["standing"]) if "standing" in query else rows  # type: ignore[misc]

    def choose_order(self, walk: ListWalk) -> tuple[str, ...]:
        """Return the columns of the order asked for: the worst standing first, or by place."""
        return ORDERS[walk.query["order"]]

    def present_rows(self, rows: Sequence[Any], walk: ListWalk) -> Iterable[BoilerItem]:
        """Add the reasons."""
        return present_boilers(rows)


@describe_detail("getBoiler", BOILER_PATH_PARAMETER)
class BoilerEndpoint(DetailEndpoint):
    """One boiler."""

    item_serializer = BoilerWholeSerializer

    def find_item(self, request: Request, at: datetime, **where: UUID) -> BoilerItem:
        """Return the boiler with its set-up."""
        boiler = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=at)
        row = standing_columns.with_standing(Row.objects.filter(id=boiler.id), at).get()
        item = present_boilers([row], register.boiler_settings_at([row.id], at))[0]
        return replace(item, gaps=register_gaps.gaps_of_boiler(boiler, catalogue_at(at), at))


@describe_list("listBoilerPositions", BOILER_PATH_PARAMETER, codes=(400, 401, 404, 422))
class BoilerPositionsEndpoint(ListEndpoint):
    """The positions on one boiler, with what is known of each."""

    item_serializer, order = PlaceSerializer, ("ref", "id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Any]:
        """Return the boiler's own positions and those of its header group."""
        boiler = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=walk.now)
        return standing_columns.with_state(register.positions_of(Row.objects.filter(id=boiler.id)), walk.at, boiler.id)

    def present_rows(self, rows: Sequence[Any], walk: ListWalk) -> Iterable[Any]:
        """Add the states."""
        return present_positions(rows)
