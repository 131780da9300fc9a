"""Endpoints of alerts: the list, one alert, and the decisions to acknowledge or shelve it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import AlertSerializer, problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.retry import run_with_retries
from api.http.strict import IdField, InstantField, StrictSerializer, TextField, validate_body
from api.http.versions import IF_MATCH, respond_with_version, version_of
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import cause_of, user_of
from fleet.alerts import queries as alerts
from fleet.alerts.acts import AlertDecision
from fleet.alerts.models import Alert as Row

DECISION_RESPONSES = problem_responses(400, 401, 403, 404, 409, 412, 413, 415, 422, 428, 503)


class AlertStateSerializer(AlertSerializer):
    """An alert with what was decided about it. It belongs to the whole portfolio where `boiler` is null."""

    version = serializers.IntegerField()
    status = serializers.ChoiceField(choices=("raised", "acknowledged", "shelved", "returned", "withdrawn"))
    acknowledged_at = serializers.DateTimeField(allow_null=True)
    shelved_until = serializers.DateTimeField(allow_null=True)


class AcknowledgeSerializer(StrictSerializer):
    """An acknowledgement, with an optional reason."""

    reason = TextField(max_length=400, required=False)


class ShelveSerializer(StrictSerializer):
    """Why the alert is shelved, and until when."""

    reason = TextField(max_length=400)
    until = InstantField()


class AlertsQuerySerializer(PageSerializer):
    """Filters of the list of alerts."""

    portfolio = IdField(required=False)
    boiler = IdField(required=False)
    condition = TextField(required=False, max_length=32)
    raised = serializers.ChoiceField(
        choices=("yes", "no"), required=False, help_text="Whether the condition holds as of the first page."
    )


@describe_list("listAlerts")
class AlertListEndpoint(ListEndpoint):
    """Conditions that hold and conditions that returned to normal. The one raised last comes first."""

    query_serializer, item_serializer, order = AlertsQuerySerializer, AlertStateSerializer, ("-raised_at", "id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Any]:
        """Return the alerts of the boilers, buildings and portfolios that the user may see."""
        rows, query = (
            _filter_by_action(Row.objects.filter(raised_at__lte=walk.at), user_of(request), self.action, walk.now),
            walk.query,
        )
        rows = rows.filter(**{n: query[n] for n in ("portfolio", "boiler", "condition") if n in query})
        has_returned = Q(until__isnull=False, until__lte=walk.at)
        return rows.filter(has_returned if query["raised"] == "no" else ~has_returned) if "raised" in query else rows


class AlertEndpoint(APIView):
    """One alert."""

    @extend_schema(operation_id="getAlert", responses={200: AlertStateSerializer, **problem_responses(401, 404)})
    def get(self, request: Request, alert: UUID) -> Response:
        """Return the alert, also a withdrawn one. The ETag is its version."""
        return _respond_with_alert(_find_visible_alert(request, alert, timezone.now()))


class AcknowledgeAlertEndpoint(APIView):
    """Acknowledge an alert. It stays raised."""

    @extend_schema(
        operation_id="acknowledgeAlert",
        parameters=[IF_MATCH],
        request=AcknowledgeSerializer,
        responses={200: AlertStateSerializer, **DECISION_RESPONSES},
    )
    def post(self, request: Request, alert: UUID) -> Response:
        """Acknowledge the alert. This ends when it returns to normal or its class rises."""
        return _decide_on_alert(
            request, alert, action="alert.acknowledge", serializer_class=AcknowledgeSerializer, kind="acknowledged"
        )


class ShelveAlertEndpoint(APIView):
    """Shelve an alert for a while."""

    @extend_schema(
        operation_id="shelveAlert",
        parameters=[IF_MATCH],
        request=ShelveSerializer,
        responses={200: AlertStateSerializer, **DECISION_RESPONSES},
    )
    def post(self, request: Request, alert: UUID) -> Response:
        """Shelve the alert until the given end, its return to normal, or a higher class."""
        return _decide_on_alert(
            request, alert, action="alert.shelve", serializer_class=ShelveSerializer, kind="shelved"
        )


def _filter_by_action(rows: QuerySet[Any], user: User, action: str, at: datetime) -> QuerySet[Any]:
    """Keep the alerts of boilers on which the user may do `action`, of their buildings, and of whole portfolios."""
    return alerts.alerts_of(rows, policy.boilers_for(user, action, at), policy.portfolios_for(user, action, at))


def _find_visible_alert(request: Request, alert: UUID, at: datetime) -> Row:
    row: Row | None = _filter_by_action(Row.with_withdrawn.filter(id=alert), user_of(request), "board.see", at).first()
    if row is None:
        raise Http404
    return row


def _decide_on_alert(
    request: Request, alert: UUID, action: str, serializer_class: type[StrictSerializer], kind: str
) -> Response:
    at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
    _find_visible_alert(request, alert, at)
    if not _filter_by_action(Row.with_withdrawn.filter(id=alert), user, action, at).exists():
        raise PermissionDenied
    data = validate_body(request, serializer_class)
    version = version_of(request)  # RFC 9110, 13.2.1: checked last, when the request would else succeed
    decision = AlertDecision(kind, **data)
    return _respond_with_alert(
        run_with_retries(
            lambda: pipeline.act_on_alert(
                alert=alert, decision=decision, version=version, by=user, at=at, cause=request_cause
            )
        )
    )


def _respond_with_alert(row: Row) -> Response:
    return respond_with_version(AlertStateSerializer(row).data, row.version)
