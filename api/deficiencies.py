"""Endpoints of deficiencies: the list, one deficiency, and decisions: assign, report a repair, defer, explain."""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.access import boiler_for
from api.http.answers import problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.retry import run_with_retries
from api.http.strict import IdField, InstantField, StrictSerializer, TextField, ValidatedData, validate_body
from api.http.versions import IF_MATCH, respond_with_version, version_of
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.requests import cause_of, user_of
from fleet.deficiencies import deficiency_lists, queries
from fleet.deficiencies.acts import DeficiencyDecision
from fleet.deficiencies.models import Deficiency as Row
from fleet.rules.values import LEVELS

DECISION_RESPONSES = problem_responses(400, 401, 403, 404, 409, 412, 413, 415, 422, 428, 503)


class AssignSerializer(StrictSerializer):
    """To whom the deficiency is assigned, and by when it is due."""

    to = IdField()
    until = InstantField()
    reason = TextField(max_length=400, required=False)


class ReportRepairSerializer(StrictSerializer):
    """When the repair was done, and what was done."""

    done_at = InstantField()
    what = TextField(max_length=400)


class DeferSerializer(StrictSerializer):
    """Why the deficiency is deferred, and until when. This silences reminders; it never improves a state."""

    reason = TextField(max_length=400)
    until = InstantField()


class ExplainSerializer(StrictSerializer):
    """The cause in a word or two, and the evidence for it."""

    cause = TextField(max_length=64)
    text = TextField(max_length=2000)


class ActSerializer(serializers.Serializer[object]):
    """One decision as it was recorded."""

    kind = serializers.CharField()
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)
    done_at = serializers.DateTimeField(allow_null=True)
    to = serializers.CharField(source="assignee.username", allow_null=True, default=None)
    cause = serializers.CharField()
    reason = serializers.CharField()


class DeficiencySerializer(serializers.Serializer[object]):
    """A deficiency as of now. `acts` include those of deficiencies merged into it."""

    id = serializers.UUIDField(source="row.id")
    boiler = serializers.UUIDField(source="row.boiler_id")
    position = serializers.UUIDField(source="row.position_id", allow_null=True)
    rule = serializers.CharField(source="row.rule")
    sentence = serializers.CharField(source="row.sentence")
    version = serializers.IntegerField(source="row.version")
    status = serializers.ChoiceField(
        choices=("open", "assigned", "repaired", "closed", "withdrawn", "merged"), source="life.status"
    )
    level = serializers.ChoiceField(choices=LEVELS, allow_blank=True, source="life.level")
    opened_at = serializers.DateTimeField(source="row.opened_at")
    closed_at = serializers.DateTimeField(source="row.closed_at", allow_null=True)
    merged_into = serializers.UUIDField(source="row.merged_into_id", allow_null=True)
    deferred_until = serializers.DateTimeField(source="life.deferred_until", allow_null=True)
    acts = ActSerializer(many=True)


class DeficienciesQuerySerializer(PageSerializer):
    """Filters of the list of deficiencies."""

    portfolio = IdField(required=False)
    building = IdField(required=False)
    boiler = IdField(required=False)
    level = serializers.ChoiceField(choices=LEVELS, required=False, help_text="The class as of the first page.")
    status = serializers.ChoiceField(
        choices=deficiency_lists.STATUSES,
        required=False,
        help_text=(
            "`open` is all that is not closed or withdrawn. With `repaired` and `deferred`, which rest on what people "
            "decided, a page may hold fewer than `limit` and still have a next one."
        ),
    )
    rule = TextField(required=False, max_length=64)


@describe_list("listDeficiencies")
class DeficiencyListEndpoint(ListEndpoint):
    """Deficiencies, the worst class first, then the oldest. Includes closed and withdrawn ones unless filtered."""

    query_serializer, item_serializer, order = (
        DeficienciesQuerySerializer,
        DeficiencySerializer,
        ("rank", "opened_at", "id"),
    )

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Row]:
        """Return the deficiencies of the boilers that the user may see."""
        query, boilers = walk.query, policy.boilers_for(user_of(request), self.action, walk.now)
        columns = {"portfolio": "portfolio", "building": "building", "boiler": "id"}
        boilers = boilers.filter(**{c: query[n] for n, c in columns.items() if n in query})
        rows = deficiency_lists.deficiencies_at(boilers, walk.at)
        rows = rows.filter(**{c: query[n] for n, c in {"level": "level_now", "rule": "rule"}.items() if n in query})
        return deficiency_lists.rows_of_status(rows, query["status"], walk.at) if "status" in query else rows

    def present_rows(self, rows: Sequence[Row], walk: ListWalk) -> Iterable[queries.DeficiencyDetail]:
        """Add what happened to each deficiency."""
        status = walk.query.get("status", "")
        return [
            s for s in deficiency_lists.deficiency_details(rows, walk.at) if deficiency_lists.matches_status(s, status)
        ]


class DeficiencyEndpoint(APIView):
    """One deficiency."""

    @extend_schema(operation_id="getDeficiency", responses={200: DeficiencySerializer, **problem_responses(401, 404)})
    def get(self, request: Request, deficiency: UUID) -> Response:
        """Return the deficiency with its acts. The ETag is its version."""
        at = timezone.now()
        return _respond_with_deficiency(_find_deficiency(request, deficiency, "board.see", at), at)


class AssignDeficiencyEndpoint(APIView):
    """Assign a deficiency to somebody."""

    @extend_schema(
        operation_id="assignDeficiency",
        parameters=[IF_MATCH],
        request=AssignSerializer,
        responses={200: DeficiencySerializer, **DECISION_RESPONSES},
    )
    def post(self, request: Request, deficiency: UUID) -> Response:
        """Assign the deficiency."""

        def build_decision(data: ValidatedData) -> DeficiencyDecision:
            return DeficiencyDecision("assigned", data.get("reason", ""), until=data["until"], assignee=data["to"])

        return _decide_on_deficiency(
            request,
            deficiency,
            action="deficiency.assign",
            serializer_class=AssignSerializer,
            build_decision=build_decision,
        )


class ReportRepairEndpoint(APIView):
    """Report a repair. The deficiency then counts as *repaired, not proven*."""

    @extend_schema(
        operation_id="reportRepair",
        parameters=[IF_MATCH],
        request=ReportRepairSerializer,
        responses={200: DeficiencySerializer, **DECISION_RESPONSES},
    )
    def post(self, request: Request, deficiency: UUID) -> Response:
        """Report the repair."""

        def build_decision(data: ValidatedData) -> DeficiencyDecision:
            return DeficiencyDecision("repair_reported", data["what"], done_at=data["done_at"])

        return _decide_on_deficiency(
            request,
            deficiency,
            action="deficiency.report_repair",
            serializer_class=ReportRepairSerializer,
            build_decision=build_decision,
        )


class DeferDeficiencyEndpoint(APIView):
    """Silence the reminders of a deficiency for a while."""

    @extend_schema(
        operation_id="deferDeficiency",
        parameters=[IF_MATCH],
        request=DeferSerializer,
        responses={200: DeficiencySerializer, **DECISION_RESPONSES},
    )
    def post(self, request: Request, deficiency: UUID) -> Response:
        """Defer the deficiency. One of class hold cannot be deferred."""

        def build_decision(data: ValidatedData) -> DeficiencyDecision:
            return DeficiencyDecision("deferred", data["reason"], until=data["until"])

        return _decide_on_deficiency(
            request,
            deficiency,
            action="deficiency.defer",
            serializer_class=DeferSerializer,
            build_decision=build_decision,
        )


class ExplainDeficiencyEndpoint(APIView):
    """Name the cause of a deficiency, as a qualified person."""

    @extend_schema(
        operation_id="explainDeficiency",
        parameters=[IF_MATCH],
        request=ExplainSerializer,
        responses={200: DeficiencySerializer, **DECISION_RESPONSES},
    )
    def post(self, request: Request, deficiency: UUID) -> Response:
        """Explain the deficiency."""

        def build_decision(data: ValidatedData) -> DeficiencyDecision:
            return DeficiencyDecision("explained", data["text"], cause=data["cause"])

        return _decide_on_deficiency(
            request,
            deficiency,
            action="deficiency.explain",
            serializer_class=ExplainSerializer,
            build_decision=build_decision,
        )


def _find_deficiency(request: Request, deficiency: UUID, action: str, at: datetime) -> Row:
    """Return the deficiency if the caller may do `action` to it. Raises Http404 or PermissionDenied if not."""
    row = Row.objects.filter(id=deficiency).first()
    if row is None:
        raise Http404
    boiler_for(request, row.boiler_id, see="board.see", do=action, at=at)
    return row


def _decide_on_deficiency(
    request: Request,
    deficiency: UUID,
    action: str,
    serializer_class: type[StrictSerializer],
    build_decision: Callable[[ValidatedData], DeficiencyDecision],
) -> Response:
    at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
    _find_deficiency(request, deficiency, action, at)
    data = validate_body(request, serializer_class)
    version = version_of(request)  # RFC 9110, 13.2.1: checked last, when the request would else succeed
    decision = build_decision(data)
    row = run_with_retries(
        lambda: pipeline.act_on_deficiency(
            deficiency=deficiency, decision=decision, version=version, by=user, at=at, cause=request_cause
        )
    )
    return _respond_with_deficiency(row, at)


def _respond_with_deficiency(row: Row, at: datetime) -> Response:
    return respond_with_version(DeficiencySerializer(queries.deficiency_detail(row, at)).data, row.version)
