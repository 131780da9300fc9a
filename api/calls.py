"""Endpoints of calls: what tenants called about, and taking a call, which makes or joins a job."""

from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.http.answers import problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.retry import run_with_retries
from api.http.strict import IdField, InstantField, StrictSerializer, TextField, validate_body
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.jobs.call_kinds import CALL_KINDS
from fleet.jobs.calls import MAX_LENGTHS, CallRequest, visible_calls
from fleet.jobs.models import TenantCall

CALL_KIND_CODES = tuple(CALL_KINDS)
CALL_EXAMPLE: dict[str, Any] = {
    "building": "2842435a-aa19-54d2-8ddb-337f72130b35",
    "kind": "no_heat",
    "flat": "3B",
    "since": "2026-01-12T06:30:00-05:00",
}


class NewTenantCallSerializer(StrictSerializer):
    """What somebody said on the telephone. Only building and kind are needed."""

    building = IdField()
    kind = serializers.ChoiceField(choices=CALL_KIND_CODES)
    flat = TextField(max_length=MAX_LENGTHS["flat"], required=False, default="")
    caller = TextField(max_length=MAX_LENGTHS["caller"], required=False, default="")
    call_back = TextField(max_length=MAX_LENGTHS["call_back"], required=False, default="")
    since = InstantField(required=False, allow_null=True, default=None)
    note = TextField(max_length=MAX_LENGTHS["note"], required=False, default="")


class TenantCallSerializer(serializers.Serializer[object]):
    """A call as it was taken. `since` is since when, as the caller said; `job` is the trip that answers it."""

    id = serializers.UUIDField()
    building = serializers.UUIDField(source="building_id")
    job = serializers.UUIDField(source="job_id")
    kind = serializers.ChoiceField(choices=CALL_KIND_CODES)
    flat = serializers.CharField(allow_blank=True)
    caller = serializers.CharField(allow_blank=True)
    call_back = serializers.CharField(allow_blank=True)
    since = serializers.DateTimeField(allow_null=True)
    note = serializers.CharField(allow_blank=True)
    at = serializers.DateTimeField()
    by = serializers.CharField(source="by.username")


class TenantCallsQuerySerializer(PageSerializer):
    """Filters of the list of calls: one building, one kind."""

    building = IdField(required=False)
    kind = serializers.ChoiceField(choices=CALL_KIND_CODES, required=False)


@describe_list("listCalls")
class TenantCallListEndpoint(ListEndpoint):
    """Calls of tenants, the newest first, for who sees the jobs of the building."""

    query_serializer, item_serializer, action, order = (
        TenantCallsQuerySerializer,
        TenantCallSerializer,
        "board.see",
        ("-at", "id"),
    )

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[TenantCall]:
        """Return the calls that the user may see."""
        rows = visible_calls(user_of(request), walk.now).filter(at__lte=walk.at)
        return rows.filter(**{name: walk.query[name] for name in ("building", "kind") if name in walk.query})

    def present_rows(self, rows: Sequence[Any], walk: ListWalk) -> Iterable[TenantCall]:
        """Return the rows as they are."""
        return rows

    @extend_schema(
        operation_id="takeCall",
        request=NewTenantCallSerializer,
        responses={201: TenantCallSerializer, **problem_responses(400, 401, 403, 404, 413, 415, 422, 503)},
        examples=[OpenApiExample("No heat in one flat", value=CALL_EXAMPLE, request_only=True)],
    )
    def post(self, request: Request) -> Response:
        """Take a call. It joins the building's open job that answers calls, or makes one."""
        at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
        data = validate_body(request, NewTenantCallSerializer)
        building = data.pop("building")
        boiler = policy.boilers_for(user, "board.see", at).filter(building=building).first()
        if boiler is None:
            raise Http404
        if not policy.is_allowed(user, "job.create", portfolio=boiler.portfolio_id, building=building, at=at):
            raise PermissionDenied
        call = run_with_retries(
            lambda: pipeline.take_call(
                building=building, request=CallRequest(**data), by=user, at=at, cause=request_cause
            )
        )
        return Response(TenantCallSerializer(call).data, status=201)
