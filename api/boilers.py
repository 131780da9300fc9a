"""Boilers: where each stands, why and until when; one boiler with its set-up, its places and its past."""

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
    """Which boilers, in which order."""

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
    """A boiler and where it stands; `since` null is always, `until` null no end known by time alone."""

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
    """One boiler with what the register says of it; the names of what is set up end in their units."""

    header_group = serializers.UUIDField(source="row.header_group_id", allow_null=True)
    in_register_since = serializers.DateTimeField(source="row.since")
    set_up = serializers.DictField(child=serializers.JSONField())


@dataclass(frozen=True, slots=True)
class Told:
    """A boiler with the segment that holds, None before it was ever judged."""

    row: Any
    segment: Segment | None
    set_up: dict[str, Any]

    @property
    def since(self) -> datetime | None:
        """Since when it stands there."""
        return self.segment.since if self.segment else None

    @property
    def until(self) -> datetime | None:
        """Until when, by time alone."""
        return self.segment.until if self.segment else None

    @property
    def reasons(self) -> list[dict[str, Any]]:
        """Why."""
        return self.segment.reasons if self.segment else []

    @property
    def reason(self) -> str:
        """The first reason's sentence."""
        return str(self.reasons[0]["sentence"]) if self.reasons else "It has not been judged yet."

    @property
    def then(self) -> str:
        """The next thing to do."""
        return self.segment.then if self.segment else ""


def told(rows: Sequence[Any], set_up: dict[UUID, dict[str, Any]] | None = None) -> list[Told]:
    """Each with its segment: one query."""
    found = listed.segments(r.segment for r in rows)
    return [Told(r, found.get(r.segment), (set_up or {}).get(r.id, {})) for r in rows]


@described("listBoilers", examples=LIST_BOILERS)
class Boilers(List):
    """Where the boilers stand."""

    form, item = BoilersAskedSerializer, BoilerSerializer

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Row]:
        """Of those that may be seen."""
        seen, given = policy.boilers(request.user, self.action, walk.now), walk.given
        seen = seen.filter(**{n: given[n] for n in ("portfolio", "building") if n in given})
        rows = listed.with_standing(register.matching(seen, given.get("text", "")), walk.at)
        return rows.filter(standing=given["standing"]) if "standing" in given else rows

    def ordered(self, walk: Walk) -> tuple[str, ...]:
        """The worst first, or by place."""
        return ORDERS[walk.given["order"]]

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Told]:
        """With the reasons."""
        return told(rows)


@described_one("getBoiler", ONE)
class Boiler(Single):
    """One boiler."""

    item = BoilerWholeSerializer

    def one(self, request: Request, at: datetime, **where: UUID) -> Told:
        """With its set-up."""
        found = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=at)
        row = listed.with_standing(Row.objects.filter(id=found.id), at).get()
        return told([row], register.set_up([row.id], at))[0]


@described("listBoilerPositions", ONE, codes=(400, 401, 404, 422))
class Positions(List):
    """What is known of each place on a boiler."""

    item, order = PlaceSerializer, ("ref", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Any]:
        """The boiler's own places and those of its header group."""
        boiler = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=walk.now)
        return listed.with_state(register.positions(Row.objects.filter(id=boiler.id)), walk.at, boiler.id)

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Any]:
        """With their states."""
        return places(rows)
