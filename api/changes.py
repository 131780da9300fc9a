"""The feed of changes, in the order the portfolio's pulse gave them: nothing is told twice, nothing is left out."""

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
    """Where to go on, and which changes are wanted; what is wanted is part of the cursor."""

    after = TextField(
        required=False, max_length=4000, help_text="The `after` of the last page; the beginning if left out."
    )
    boiler = IdField(required=False)
    kind = TextField(required=False, max_length=32)
    limit = serializers.IntegerField(min_value=1, max_value=MOST, default=MOST)


class ChangeSerializer(serializers.Serializer[Any]):
    """One thing that became different: what, from what to what, why, through whom, and its place in the order."""

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
    """A page of changes; `after` goes on behind it, also when nothing more has happened yet."""

    changes = ChangeSerializer(many=True)
    after = serializers.CharField()
    more = serializers.BooleanField()


class Changes(APIView):
    """What became different."""

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
    """A cursor's place and what it wants. What is asked for beside it must be the same or nothing."""
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
