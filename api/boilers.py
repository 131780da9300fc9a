"""Endpoints of boilers: their standings with reasons, one boiler with its set-up, and its positions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.request import Request

from api.access import boiler_for
from api.answers import STANDINGS, ReasonSerializer
from api.examples import LIST_BOILERS
from api.pages import List, PageSerializer, Walk, described
from api.positions import PlaceSerializer, places
from api.single import Single, described_one
from api.strict import IdField, TextField
from fleet.accounts import policy
from fleet.board import listed
from fleet.board.models import Segment
from fleet.portfolio import queries as register
from fleet.portfolio.models import Boiler as Row
from fleet.rules.values import Service

ORDERS = {
    "worst": ("rank", "building__ref", "ref", "id"),
    "place": ("building__ref", "ref", "id"),
}
ONE = OpenApiParameter("boiler", UUID, OpenApiParameter.PATH)


class BoilersAskedSerializer(PageSerializer):
    """Filters and order of the list of boilers."""

    portfolio = IdField(required=False)
    building = IdField(required=False)
    standing = serializers.ChoiceField(choices=STANDINGS, required=False)
    text = TextField(required=False, max_length=200, help_text="Words that stand in refs, names or the address.")
    order = serializers.ChoiceField(
        choices=tuple(ORDERS),
        default="worst",
        help_text="`worst`: by standing as of the first page. `place`: by refs, which nothing that happens can move.",
    )


class BoilerSerializer(serializers.Serializer[Any]):
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
    service_state = serializers.ChoiceField(choices=[s.value for s in Service], source="row.service")


class BoilerWholeSerializer(BoilerSerializer):
    """One boiler with its data in the register. Names in `set_up` end in their units."""

    header_group = serializers.UUIDField(source="row.header_group_id", allow_null=True)
    in_register_since = serializers.DateTimeField(source="row.since")
    set_up = serializers.DictField(child=serializers.JSONField())


@dataclass(frozen=True, slots=True)
class Told:
    """A boiler with its current segment. The segment is None before the boiler was first judged."""

    row: Any
    segment: Segment | None
    set_up: dict[str, Any]

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


def told(rows: Sequence[Any], set_up: dict[UUID, dict[str, Any]] | None = None) -> list[Told]:
    """Return each boiler with its segment. Takes one query."""
    found = listed.segments(r.segment for r in rows)
    return [Told(r, found.get(r.segment), (set_up or {}).get(r.id, {})) for r in rows]


@described("listBoilers", examples=LIST_BOILERS)
class Boilers(List):
    """Boilers with their standings."""

    form, item = BoilersAskedSerializer, BoilerSerializer

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Row]:
        """Return the boilers that the user may see and asked for."""
        seen, given = policy.boilers(request.user, self.action, walk.now), walk.given
        seen = seen.filter(**{n: given[n] for n in ("portfolio", "building") if n in given})
        rows = listed.with_standing(register.matching(seen, given.get("text", "")), walk.at)
        return rows.filter(standing=given["standing"]) if "standing" in given else rows

    def ordered(self, walk: Walk) -> tuple[str, ...]:
        """Return the columns of the order asked for: the worst standing first, or by place."""
        return ORDERS[walk.given["order"]]

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Told]:
        """Add the reasons."""
        return told(rows)


@described_one("getBoiler", ONE)
class Boiler(Single):
    """One boiler."""

    item = BoilerWholeSerializer

    def one(self, request: Request, at: datetime, **where: UUID) -> Told:
        """Return the boiler with its set-up."""
        found = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=at)
        row = listed.with_standing(Row.objects.filter(id=found.id), at).get()
        return told([row], register.set_up([row.id], at))[0]


@described("listBoilerPositions", ONE, codes=(400, 401, 404, 422))
class Positions(List):
    """The positions on one boiler, with what is known of each."""

    item, order = PlaceSerializer, ("ref", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Any]:
        """Return the boiler's own positions and those of its header group."""
        boiler = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=walk.now)
        return listed.with_state(register.positions(Row.objects.filter(id=boiler.id)), walk.at, boiler.id)

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Any]:
        """Add the states."""
        return places(rows)
