"""The feed of changes, in the order of the portfolio's pulse. No change is repeated or left out."""

from urllib.parse import urlencode
from uuid import UUID

from django.core import signing
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.query_validation import validate_query
from api.http.strict import IdField, StrictSerializer, TextField
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.board.feed import ChangeFeed, FeedPage, FeedPosition, next_page
from fleet.errors import Refused

MAX_CHANGES = 200
CURSOR_SALT = "changes"


class ChangesQuerySerializer(StrictSerializer):
    """Cursor and filters of the feed. The filters are part of the cursor."""

    after = TextField(
        required=False, max_length=4000, help_text="The `after` of the previous page. Default: the beginning."
    )
    boiler = IdField(required=False)
    kind = TextField(required=False, max_length=32)
    limit = serializers.IntegerField(min_value=1, max_value=MAX_CHANGES, default=MAX_CHANGES)


class ChangeSerializer(serializers.Serializer[object]):
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


class ChangesSerializer(serializers.Serializer[object]):
    """A page of changes. `after` is the cursor that follows it, also when nothing more has happened yet."""

    changes = ChangeSerializer(many=True)
    after = serializers.CharField()
    more = serializers.BooleanField()


class ChangeListEndpoint(APIView):
    """Changes of the boilers the caller may see."""

    @extend_schema(
        operation_id="listChanges",
        parameters=[ChangesQuerySerializer],
        responses={200: ChangesSerializer, **problem_responses(400, 401, 422)},
    )
    def get(self, request: Request) -> Response:
        """Return the changes after a cursor in order, at most `limit`; `Link` names the next page if there is one."""
        query = validate_query(request, ChangesQuerySerializer)
        filters = {name: str(query[name]) for name in ("boiler", "kind") if query.get(name)}
        place, filters = _read_cursor(query.get("after", ""), filters)
        change_page = next_page(_build_feed(request, filters), place, query["limit"])
        after = _write_cursor(change_page.place, filters)
        body = ChangesSerializer({"changes": change_page.changes, "after": after, "more": change_page.more}).data
        return Response(body, headers=_link_header(request, change_page, after, query["limit"]))


def _build_feed(request: Request, filters: dict[str, str]) -> ChangeFeed:
    at = timezone.now()
    grants = (
        policy.grants_for(user_of(request), "board.see", at).order_by("portfolio").values_list("portfolio", "building")
    )
    return ChangeFeed(
        portfolios=list(dict.fromkeys(portfolio for portfolio, _ in grants)),
        boilers=policy.boilers_for(user_of(request), "board.see", at),
        whole=frozenset(portfolio for portfolio, building in grants if building is None),
        boiler=UUID(filters["boiler"]) if "boiler" in filters else None,
        kind=filters.get("kind", ""),
    )


def _read_cursor(cursor: str, filters: dict[str, str]) -> tuple[FeedPosition, dict[str, str]]:
    """Return the place and the filters of a cursor.

    Raises Refused for a cursor not issued here, and for `filters` that differ from those of the cursor.
    """
    if not cursor:
        return {}, filters
    try:
        payload = signing.loads(cursor, salt=CURSOR_SALT)
    except signing.BadSignature:
        raise Refused("bad_cursor", "This cursor was not issued here.", ("after",), status=422) from None
    if filters and filters != payload["wanted"]:
        raise Refused("other_filters", "It was issued for other filters.", ("after",), status=422)
    return {UUID(p): (v, n) for p, (v, n) in payload["place"].items()}, payload["wanted"]


def _write_cursor(place: FeedPosition, filters: dict[str, str]) -> str:
    payload = {"place": {str(p): list(at) for p, at in sorted(place.items())}, "wanted": filters}
    return signing.dumps(payload, salt=CURSOR_SALT, compress=True)


def _link_header(request: Request, change_page: FeedPage, after: str, limit: int) -> dict[str, str]:
    if not change_page.more:
        return {}
    address = request.build_absolute_uri(f"{request.path}?{urlencode({'after': after, 'limit': limit})}")
    return {"Link": f'<{address}>; rel="next"'}
