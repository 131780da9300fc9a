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
from django.db.models import Model, Q, QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.answers import problems
from api.asked import asked
from api.fresh import IF_NONE_MATCH, NOT_MODIFIED, Kept
from api.strict import StrictSerializer, TextField
from api.tables import AS, Tabular
from fleet.errors import Refused
from fleet.pipeline.fresh import build

MOST, USUAL = 200, 50
SALT = "lists"
WALK = ("cursor", "limit")  # these are no filters


class PageSerializer(StrictSerializer):
    """Which page of a list. A cursor carries the filters it was issued for."""

    cursor = TextField(required=False, max_length=4000, help_text="`next` of the page before; the first if left out.")
    limit = serializers.IntegerField(min_value=1, max_value=MOST, default=USUAL)


@dataclass(frozen=True, slots=True)
class Walk:
    """A walk through one list: its instant, its filters, and the row it continues after."""

    now: datetime
    at: datetime
    given: dict[str, Any]
    wanted: dict[str, str]
    after: list[Any] | None
    limit: int
    facts: str  # digest of the facts at the first page
    changed: bool


class List(Tabular, APIView):
    """A list in pages. A subclass says which rows it has and how they are presented."""

    action: ClassVar[str] = "board.see"
    form: ClassVar[type[StrictSerializer]] = PageSerializer
    item: ClassVar[type[serializers.BaseSerializer[Any]]]
    order: ClassVar[tuple[str, ...]] = ("id",)

    def get(self, request: Request, **where: UUID) -> Response:
        """Return one page."""
        now = timezone.now()
        kept = Kept(request, self.action, now, *self.beside(now))
        walk = self.walk(request, kept, now)
        if kept.unmoved:
            return kept.not_modified()
        rows = self.taken(request, walk, **where)
        shown = self.shown(rows[: walk.limit], walk)
        following = self._cursor(request, walk, rows[walk.limit - 1]) if len(rows) > walk.limit else None
        told = {"as_of": walk.at, "changed": walk.changed, "items": self.item(shown, many=True).data}
        body = {**told, "as_of": serializers.DateTimeField().to_representation(walk.at), "next": following}
        return Response(body, headers={**kept.headers, "Link": _link(request, walk, following)})

    def found(self, request: Request, walk: Walk, **where: UUID) -> "QuerySet[Any] | Sequence[Any]":
        """Return the rows of the list that the user may see, in no order."""
        raise NotImplementedError

    def beside(self, at: datetime) -> tuple[Any, ...]:
        """Return what else the ETag depends on, besides grants, facts and their boundaries."""
        return ()

    def taken(self, request: Request, walk: Walk, **where: UUID) -> Sequence[Any]:
        """Return the rows after the last page, one more than a page holds: it tells whether another page follows."""
        return take(self.found(request, walk, **where), self.ordered(walk), walk.after, walk.limit + 1)

    def ordered(self, walk: Walk) -> tuple[str, ...]:
        """Return the columns of the total order. The last one is the id."""
        return self.order

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Any]:
        """Return the rows as the item serializer takes them."""
        return rows

    def walk(self, request: Request, kept: Kept, now: datetime) -> Walk:
        """Read the query. With a cursor, its filters and its place hold.

        Raises Refused for a cursor not issued here, and for filters that differ from those of the cursor.
        """
        given = asked(request, self.form)
        wanted = {n: request.query_params[n] for n in given if n not in WALK and n in request.query_params}
        facts = kept.ground.facts
        if not given.get("cursor"):
            return Walk(now, now, given, wanted, None, given["limit"], facts, changed=False)
        told = self._read(request, given["cursor"])
        if wanted and wanted != told["wanted"]:
            raise Refused("other_filters", "It was given for other filters.", ("cursor",), status=422)
        form = self.form(data=told["wanted"])
        form.is_valid(raise_exception=True)
        at = datetime.fromisoformat(told["as_of"])
        changed = told["facts"] != facts
        return Walk(now, at, form.validated_data, told["wanted"], told["after"], given["limit"], told["facts"], changed)

    def _cursor(self, request: Request, walk: Walk, last: Any) -> str:
        after = [_plain(_value(last, column.lstrip("-"))) for column in self.ordered(walk)]
        told = {"of": _of(request), "as_of": walk.at.isoformat(), "facts": walk.facts, "wanted": walk.wanted}
        return signing.dumps({**told, "after": after}, salt=SALT, compress=True)

    def _read(self, request: Request, cursor: str) -> dict[str, Any]:
        """Return a cursor's content. Raises Refused unless this build issued it to this person for this list."""
        try:
            told: dict[str, Any] = signing.loads(cursor, salt=SALT)
        except signing.BadSignature:
            told = {}
        if told.get("of") != _of(request):
            raise Refused("bad_cursor", "No cursor given out here.", ("cursor",), status=422)
        return told


def take(
    rows: QuerySet[Any] | Sequence[Any], order: Sequence[str], after: Sequence[Any] | None, most: int
) -> Sequence[Any]:
    """Return at most `limit` rows after the key `after`, in a total order of columns that are never NULL."""
    if isinstance(rows, QuerySet):
        behind = rows.filter(_behind(order, after)) if after else rows
        return list(behind.order_by(*order)[:most])
    (column,) = order  # rows that are no table are few, and have one key
    return [r for r in sorted(rows, key=lambda r: _value(r, column)) if not after or _value(r, column) > after[0]][
        :most
    ]


def _behind(order: Sequence[str], after: Sequence[Any]) -> Q:
    """Return the condition of rows after these values: (a > x) or (a = x and ((b > y) or …)).

    The condition a >= x is implied; it lets PostgreSQL start at x in an index.
    """
    found = Q(pk__in=())
    for column, value in reversed(list(zip(order, after, strict=True))):
        name, way = column.lstrip("-"), "lt" if column.startswith("-") else "gt"
        found = Q(**{f"{name}__{way}": value}) | (Q(**{name: value}) & found)
    first, way = order[0].lstrip("-"), "lte" if order[0].startswith("-") else "gte"
    return Q(**{f"{first}__{way}": after[0]}) & found


def _value(row: Any, column: str) -> Any:
    for step in column.split("__"):
        row = getattr(row, step)
    return row.pk if isinstance(row, Model) else row


def _plain(value: Any) -> Any:
    return (
        value.isoformat() if isinstance(value, (datetime, date)) else str(value) if isinstance(value, UUID) else value
    )


def _of(request: Request) -> list[str]:
    return [str(request.user.pk), request.path, build()[:16]]


def _link(request: Request, walk: Walk, following: str | None) -> str:
    """Return the Link header (RFC 8288) with the next page and the first one."""

    kept = {AS: request.query_params[AS]} if AS in request.query_params else {}

    def to(rel: str, **query: Any) -> str:
        query |= kept
        return f'<{request.build_absolute_uri(f"{request.path}?{urlencode(query)}")}>; rel="{rel}"'

    first = to("first", **walk.wanted, limit=walk.limit)
    return f"{to('next', cursor=following, limit=walk.limit)}, {first}" if following else first


@cache
def page_of(item: type[serializers.BaseSerializer[Any]]) -> type[serializers.Serializer[Any]]:
    """Return the serializer class of a page of these items."""
    fields = {
        "as_of": serializers.DateTimeField(help_text="The instant of the first page: what is dated is read as of it."),
        "changed": serializers.BooleanField(help_text="Whether facts have moved since the first page."),
        "items": item(many=True),
        "next": serializers.CharField(allow_null=True, help_text="The cursor of the next page; null on the last."),
    }
    name = item.__name__.removesuffix("Serializer")
    made = type(f"{name}PageSerializer", (serializers.Serializer,), fields)
    made.__doc__ = "A page of a list."
    return made


def described(operation: str, *parameters: Any, codes: tuple[int, ...] = (400, 401, 422), **more: Any) -> Any:
    """Return a class decorator that describes a list endpoint in the OpenAPI document."""

    def of(view: type[List]) -> type[List]:
        told = extend_schema(
            operation_id=operation,
            parameters=[*parameters, view.form, IF_NONE_MATCH],
            responses={200: page_of(view.item), **NOT_MODIFIED, **problems(*codes)},
            **more,
        )
        return extend_schema_view(get=told)(view)

    return of
