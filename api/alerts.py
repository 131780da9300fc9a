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

from api.access import cause
from api.answers import AlertSerializer, problems
from api.pages import List, PageSerializer, Walk, described
from api.retry import retried
from api.strict import IdField, InstantField, StrictSerializer, TextField
from api.versions import IF_MATCH, version_of, versioned
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts import queries as alerts
from fleet.alerts.acts import Decision
from fleet.alerts.models import Alert as Row

REFUSALS = problems(400, 401, 403, 404, 409, 412, 413, 415, 422, 428, 503)


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


class AlertsAskedSerializer(PageSerializer):
    """Filters of the list of alerts."""

    portfolio = IdField(required=False)
    boiler = IdField(required=False)
    condition = TextField(required=False, max_length=32)
    raised = serializers.ChoiceField(
        choices=("yes", "no"), required=False, help_text="Whether the condition holds as of the first page."
    )


@described("listAlerts")
class Alerts(List):
    """Conditions that hold and conditions that returned to normal. The one raised last comes first."""

    form, item, order = AlertsAskedSerializer, AlertStateSerializer, ("-raised_at", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Any]:
        """Return the alerts of the boilers, buildings and portfolios that the user may see."""
        rows, given = _of(Row.objects.filter(raised_at__lte=walk.at), request.user, self.action, walk.now), walk.given
        rows = rows.filter(**{n: given[n] for n in ("portfolio", "boiler", "condition") if n in given})
        over = Q(until__isnull=False, until__lte=walk.at)
        return rows.filter(over if given["raised"] == "no" else ~over) if "raised" in given else rows


class Alert(APIView):
    """One alert."""

    @extend_schema(operation_id="getAlert", responses={200: AlertStateSerializer, **problems(401, 404)})
    def get(self, request: Request, alert: UUID) -> Response:
        """Return the alert, also a withdrawn one. The ETag is its version."""
        return _told(_seen(request, alert, timezone.now()))


class Acknowledge(APIView):
    """Acknowledge an alert. It stays raised."""

    @extend_schema(
        operation_id="acknowledgeAlert",
        parameters=[IF_MATCH],
        request=AcknowledgeSerializer,
        responses={200: AlertStateSerializer, **REFUSALS},
    )
    def post(self, request: Request, alert: UUID) -> Response:
        """Acknowledge the alert. This ends when it returns to normal or its class rises."""
        return _act(request, alert, "alert.acknowledge", AcknowledgeSerializer, "acknowledged")


class Shelve(APIView):
    """Shelve an alert for a while."""

    @extend_schema(
        operation_id="shelveAlert",
        parameters=[IF_MATCH],
        request=ShelveSerializer,
        responses={200: AlertStateSerializer, **REFUSALS},
    )
    def post(self, request: Request, alert: UUID) -> Response:
        """Shelve the alert until the given end, its return to normal, or a higher class."""
        return _act(request, alert, "alert.shelve", ShelveSerializer, "shelved")


def _of(rows: QuerySet[Any], user: User, action: str, at: datetime) -> QuerySet[Any]:
    """Keep the alerts of boilers on which the user may do `action`, of their buildings, and of whole portfolios."""
    return alerts.of(rows, policy.boilers(user, action, at), policy.portfolios(user, action, at))


def _seen(request: Request, alert: UUID, at: datetime) -> Row:
    row: Row | None = _of(Row.kept.filter(id=alert), request.user, "board.see", at).first()
    if row is None:
        raise Http404
    return row


def _act(request: Request, alert: UUID, action: str, form: type[StrictSerializer], kind: str) -> Response:
    at, told, user = timezone.now(), cause(request), request.user
    _seen(request, alert, at)
    if not _of(Row.kept.filter(id=alert), user, action, at).exists():
        raise PermissionDenied
    sent = form(data=request.data)
    sent.is_valid(raise_exception=True)
    version = version_of(request)  # RFC 9110, 13.2.1: checked last, when the request would else succeed
    decision = Decision(kind, **sent.validated_data)
    return _told(
        retried(
            lambda: pipeline.act_on_alert(alert=alert, decision=decision, version=version, by=user, at=at, cause=told)
        )
    )


def _told(row: Row) -> Response:
    return versioned(AlertStateSerializer(row).data, row.version)
