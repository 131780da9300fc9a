"""Lists in pages: a signed cursor carries the filters, the instant of the first page and the last row's key.

A page begins after the last row of the page before it, in a total order. So rows added meanwhile neither hide a row nor
repeat one, and no rows are counted. Dated data are read as of the first page. `changed` says whether facts of the
visible portfolios have changed since; a new walk shows them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any, ClassVar
from urllib.parse import urlencode
from uuid import UUID

from django.core import signing
from django.db.models import Model, QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.conditional_get import IF_NONE_MATCH, NOT_MODIFIED, ConditionalGet, DescribedParameter
from api.http.query_validation import validate_query
from api.http.strict import StrictSerializer, TextField, ValidatedData
from api.http.tables import FORMAT_PARAMETER, TableFormatsMixin
from fleet.errors import Refused
from fleet.reading.cache_validity import build_digest
from fleet.records.row_order import rows_after
from fleet.rules.wording import ADVICE_CAUTION

MAX_PAGE_LIMIT, DEFAULT_PAGE_LIMIT = 200, 50
CURSOR_SALT = "lists"
PAGING_PARAMETERS = ("cursor", "limit")  # these are no filters


class PageSerializer(StrictSerializer):
    """Which page of a list. A cursor carries the filters it was issued for."""

    cursor = TextField(
        required=False, max_length=4000, help_text="The `next` of the previous page. Default: the first page."
    )
    limit = serializers.IntegerField(min_value=1, max_value=MAX_PAGE_LIMIT, default=DEFAULT_PAGE_LIMIT)


@dataclass(frozen=True, slots=True)
class ListWalk:
    """A walk through one list: its instant, its filters, and the row it continues after."""

    now: datetime
    at: datetime
    query: ValidatedData
    filters: dict[str, str]
    after: list[Any] | None
    limit: int
    facts: str  # digest of the facts at the first page
    changed: bool


class ListEndpoint(TableFormatsMixin, APIView):
    """A list in pages. A subclass says which rows it has and how they are presented."""

    action: ClassVar[str] = "board.see"
    query_serializer: ClassVar[type[StrictSerializer]] = PageSerializer
    item_serializer: ClassVar[type[serializers.BaseSerializer[Any]]]
    order: ClassVar[tuple[str, ...]] = ("id",)

    def get(self, request: Request, **where: UUID) -> Response:
        """Return one page."""
        now = timezone.now()
        conditional = ConditionalGet(request, self.action, now, *self.get_tag_parts(now))
        walk = self.read_walk(request, conditional, now)
        if conditional.is_unchanged:
            return conditional.not_modified_response()
        rows = self.take_rows(request, walk, **where)
        items = self.present_rows(rows[: walk.limit], walk)
        next_cursor = self._write_cursor(request, walk, rows[walk.limit - 1]) if len(rows) > walk.limit else None
        page = {
            "caution": ADVICE_CAUTION,
            "as_of": walk.at,
            "changed": walk.changed,
            "items": self.item_serializer(items, many=True).data,
        }
        body = {**page, "as_of": serializers.DateTimeField().to_representation(walk.at), "next": next_cursor}
        return Response(body, headers={**conditional.headers, "Link": _link_header(request, walk, next_cursor)})

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> "QuerySet[Any] | Sequence[Any]":
        """Return the rows of the list that the user may see, in no order."""
        raise NotImplementedError

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return what else the ETag depends on, besides grants, facts and their boundaries."""
        return ()

    def take_rows(self, request: Request, walk: ListWalk, **where: UUID) -> Sequence[Any]:
        """Return the rows after the last page, one more than a page holds: it tells whether another page follows."""
        return take_page(self.find_rows(request, walk, **where), self.choose_order(walk), walk.after, walk.limit + 1)

    def choose_order(self, walk: ListWalk) -> tuple[str, ...]:
        """Return the columns of the total order. The last one is the id."""
        return self.order

    def present_rows(self, rows: Sequence[Any], walk: ListWalk) -> Iterable[Any]:
        """Return the rows as the item serializer takes them."""
        return rows

    def read_walk(self, request: Request, conditional: ConditionalGet, now: datetime) -> ListWalk:
        """Read the query. With a cursor, its filters and its place hold.

        Raises Refused for a cursor not issued here, and for filters that differ from those of the cursor.
        """
        query = validate_query(request, self.query_serializer)
        names = [n for n in query if n not in PAGING_PARAMETERS and n in request.query_params]
        filters, facts = {n: request.query_params[n] for n in names}, conditional.ground.facts
        if not query.get("cursor"):
            return ListWalk(
                now, now, query=query, filters=filters, after=None, limit=query["limit"], facts=facts, changed=False
            )
        payload = self._read_cursor(request, query["cursor"])
        if filters and filters != payload["wanted"]:
            raise Refused("other_filters", "It was issued for other filters.", ("cursor",), status=422)
        serializer = self.query_serializer(data=payload["wanted"])
        serializer.is_valid(raise_exception=True)
        return ListWalk(
            now,
            datetime.fromisoformat(payload["as_of"]),
            query=serializer.validated_data,
            filters=payload["wanted"],
            after=payload["after"],
            limit=query["limit"],
            facts=payload["facts"],
            changed=payload["facts"] != facts,
        )

    def _write_cursor(self, request: Request, walk: ListWalk, last: Any) -> str:
        after = [_to_json_value(_column_value(last, column.lstrip("-"))) for column in self.choose_order(walk)]
        payload = {
            "of": _cursor_scope(request),
            "as_of": walk.at.isoformat(),
            "facts": walk.facts,
            "wanted": walk.filters,
        }
        return signing.dumps({**payload, "after": after}, salt=CURSOR_SALT, compress=True)

    def _read_cursor(self, request: Request, cursor: str) -> dict[str, Any]:
        """Return a cursor's content. Raises Refused unless this build issued it to this person for this list."""
        try:
            payload: dict[str, Any] = signing.loads(cursor, salt=CURSOR_SALT)
        except signing.BadSignature:
            payload = {}
        if payload.get("of") != _cursor_scope(request):
            raise Refused("bad_cursor", "This cursor was not issued here.", ("cursor",), status=422)
        return payload


def take_page(
    rows: QuerySet[Any] | Sequence[Any], order: Sequence[str], after: Sequence[Any] | None, limit: int
) -> Sequence[Any]:
    """Return at most `limit` rows after the key `after`, in a total order of columns that are never NULL."""
    if isinstance(rows, QuerySet):
        behind = rows.filter(rows_after(order, after)) if after else rows
        return list(behind.order_by(*order)[:limit])
    (column,) = order  # rows that are no table are few, and have one key
    return [
        r
        for r in sorted(rows, key=lambda r: _column_value(r, column))
        if not after or _column_value(r, column) > after[0]
    ][:limit]


def _column_value(row: Any, column: str) -> Any:
    for step in column.split("__"):
        row = getattr(row, step)
    return row.pk if isinstance(row, Model) else row


def _to_json_value(value: Any) -> Any:
    return (
        value.isoformat() if isinstance(value, (datetime, date)) else str(value) if isinstance(value, UUID) else value
    )


def _cursor_scope(request: Request) -> list[str]:
    return [str(request.user.pk), request.path, build_digest()[:16]]


def _link_header(request: Request, walk: ListWalk, next_cursor: str | None) -> str:
    """Return the Link header (RFC 8288) with the next page and the first one."""

    format_query = (
        {FORMAT_PARAMETER: request.query_params[FORMAT_PARAMETER]} if FORMAT_PARAMETER in request.query_params else {}
    )

    def link_to(rel: str, **query: object) -> str:
        query |= format_query
        return f'<{request.build_absolute_uri(f"{request.path}?{urlencode(query)}")}>; rel="{rel}"'

    first = link_to("first", **walk.filters, limit=walk.limit)
    return f"{link_to('next', cursor=next_cursor, limit=walk.limit)}, {first}" if next_cursor else first


@cache
def page_serializer_of(item: type[serializers.BaseSerializer[Any]]) -> type[serializers.Serializer[object]]:
    """Return the serializer class of a page of these items."""
    fields = {
        "as_of": serializers.DateTimeField(help_text="The instant of the first page: what is dated is read as of it."),
        "changed": serializers.BooleanField(help_text="Whether facts have changed since the first page."),
        "caution": serializers.CharField(help_text="What stands beside all advice: who decides."),
        "items": item(many=True),
        "next": serializers.CharField(allow_null=True, help_text="The cursor of the next page; null on the last."),
    }
    name = item.__name__.removesuffix("Serializer")
    page_serializer = type(f"{name}PageSerializer", (serializers.Serializer,), fields)
    page_serializer.__doc__ = "A page of a list."
    return page_serializer


def describe_list(
    operation: str, *parameters: DescribedParameter, codes: tuple[int, ...] = (400, 401, 422), **more: Any
) -> Any:
    """Return a class decorator that describes a list endpoint in the OpenAPI document."""

    def decorate(view: type[ListEndpoint]) -> type[ListEndpoint]:
        decorator = extend_schema(
            operation_id=operation,
            parameters=[*parameters, view.query_serializer, IF_NONE_MATCH],
            responses={200: page_serializer_of(view.item_serializer), **NOT_MODIFIED, **problem_responses(*codes)},  # type: ignore[arg-type]
            **more,
        )
        return extend_schema_view(get=decorator)(view)

    return decorate
