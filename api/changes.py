"""The feed of changes, in the order of the portfolio's pulse. No change is repeated or left out."""

from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.core import signing
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.answers import problems
from api.asked import asked
from api.strict import IdField, StrictSerializer, TextField
from fleet.accounts import policy
from fleet.board.feed import Feed, Page, Place, page
from fleet.errors import Refused

MOST = 200
SALT = "changes"


class AfterSerializer(StrictSerializer):
    """Cursor and filters of the feed. The filters are part of the cursor."""

    after = TextField(
        required=False, max_length=4000, help_text="The `after` of the last page; the beginning if left out."
    )
    boiler = IdField(required=False)
    kind = TextField(required=False, max_length=32)
    limit = serializers.IntegerField(min_value=1, max_value=MOST, default=MOST)


class ChangeSerializer(serializers.Serializer[Any]):
    """One change: what it is about, its value before and after, its reason and author, and its place in the order."""

    portfolio = serializers.UUIDField(source="portfolio_id")
    version = serializers.IntegerField()
    number = serializers.IntegerField()
    boiler = serializers.UUIDField(source="boiler_id", allow_null=True)
    kind = serializers.CharField()
    subject = serializers.UUIDField()
    before = serializers.CharField()
    after = serializers.CharField()
    sentence = serializers.CharField()
    rule = serializers.CharField()
    at = serializers.DateTimeField()
    recorded_at = serializers.DateTimeField()
    who = serializers.CharField()
    reason = serializers.CharField()
    request_id = serializers.CharField()


class ChangesSerializer(serializers.Serializer[Any]):
    """A page of changes. `after` is the cursor that follows it, also when nothing more has happened yet."""

    changes = ChangeSerializer(many=True)
    after = serializers.CharField()
    more = serializers.BooleanField()


class Changes(APIView):
    """Changes of the boilers the caller may see."""

    @extend_schema(
        operation_id="listChanges",
        parameters=[AfterSerializer],
        responses={200: ChangesSerializer, **problems(400, 401, 422)},
    )
    def get(self, request: Request) -> Response:
        """Return the changes after a cursor in order, at most `limit`; `Link` names the next page if there is one."""
        given = asked(request, AfterSerializer)
        wanted = {name: str(given[name]) for name in ("boiler", "kind") if given.get(name)}
        place, wanted = _read(given.get("after", ""), wanted)
        found = page(_feed(request, wanted), place, given["limit"])
        after = _written(found.place, wanted)
        body = ChangesSerializer({"changes": found.changes, "after": after, "more": found.more}).data
        return Response(body, headers=_link(request, found, after, given["limit"]))


def _feed(request: Request, wanted: dict[str, str]) -> Feed:
    at = timezone.now()
    granted = policy.grants(request.user, "board.see", at).order_by("portfolio").values_list("portfolio", "building")
    return Feed(
        portfolios=list(dict.fromkeys(portfolio for portfolio, _ in granted)),
        boilers=policy.boilers(request.user, "board.see", at),
        whole=frozenset(portfolio for portfolio, building in granted if building is None),
        boiler=UUID(wanted["boiler"]) if "boiler" in wanted else None,
        kind=wanted.get("kind", ""),
    )


def _read(cursor: str, wanted: dict[str, str]) -> tuple[Place, dict[str, str]]:
    """Return the place and the filters of a cursor.

    Raises Refused for a cursor not issued here, and for `filters` that differ from those of the cursor.
    """
    if not cursor:
        return {}, wanted
    try:
        told = signing.loads(cursor, salt=SALT)
    except signing.BadSignature:
        raise Refused("bad_cursor", "No cursor given out here.", ("after",), status=422) from None
    if wanted and wanted != told["wanted"]:
        raise Refused("other_filters", "It was given for other filters.", ("after",), status=422)
    return {UUID(p): (v, n) for p, (v, n) in told["place"].items()}, told["wanted"]


def _written(place: Place, wanted: dict[str, str]) -> str:
    told = {"place": {str(p): list(at) for p, at in sorted(place.items())}, "wanted": wanted}
    return signing.dumps(told, salt=SALT, compress=True)


def _link(request: Request, found: Page, after: str, limit: int) -> dict[str, str]:
    if not found.more:
        return {}
    address = request.build_absolute_uri(f"{request.path}?{urlencode({'after': after, 'limit': limit})}")
    return {"Link": f'<{address}>; rel="next"'}
