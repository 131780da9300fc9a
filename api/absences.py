"""Endpoints of absences: who is away from when to when, and who stands in."""

from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.retry import run_with_retries
from api.http.strict import IdField, InstantField, StrictSerializer, validate_body
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.absences import REASONS, AbsenceRequest, absences_from, end_absence, record_absence
from fleet.accounts.models import Absence
from fleet.accounts.requests import cause_of, user_of

ACTION = "absence.record"


class NewAbsenceSerializer(StrictSerializer):
    """Who is away, from when to when (null: until further notice), and who stands in (null: nobody).

    With `opens_jobs` the plans of the person's jobs in that time are withdrawn, for who may plan jobs.
    """

    user = IdField()
    since = InstantField()
    until = InstantField(allow_null=True)
    stand_in = IdField(allow_null=True)
    reason = serializers.ChoiceField(choices=REASONS)
    opens_jobs = serializers.BooleanField(required=False, default=False)


class AbsenceSerializer(serializers.Serializer[object]):
    """An absence that is not over."""

    id = serializers.UUIDField()
    user = serializers.UUIDField(source="user_id")
    name = serializers.CharField(source="user.display_name")
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)
    stand_in = serializers.UUIDField(source="stand_in_id", allow_null=True)
    reason = serializers.ChoiceField(choices=REASONS)
    recorded_at = serializers.DateTimeField()


class AbsenceListEndpoint(APIView):
    """The absences of a portfolio."""

    @extend_schema(
        operation_id="listAbsences", responses={200: AbsenceSerializer(many=True), **problem_responses(401, 404)}
    )
    def get(self, request: Request, portfolio: UUID) -> Response:
        """Return the absences that are not over, the first to begin first; who may not record them gets his own."""
        at, user = timezone.now(), user_of(request)
        _require_visible(request, portfolio)
        rows = absences_from(portfolio, at)
        rows = rows if policy.portfolios_for(user, ACTION, at).filter(id=portfolio).exists() else rows.filter(user=user)
        return Response(AbsenceSerializer(rows, many=True).data)

    @extend_schema(
        operation_id="recordAbsence",
        request=NewAbsenceSerializer,
        responses={201: AbsenceSerializer, **problem_responses(400, 401, 403, 404, 413, 415, 422, 503)},
    )
    def post(self, request: Request, portfolio: UUID) -> Response:
        """Record an absence: of oneself, or of others by who plans their work. The stand-in is told meanwhile."""
        at, user = timezone.now(), user_of(request)
        _require_visible(request, portfolio)
        data = validate_body(request, NewAbsenceSerializer)
        _require_right(request, portfolio, data["user"])
        if not data.pop("opens_jobs"):
            row = record_absence(portfolio=portfolio, request=AbsenceRequest(**data), by=user, at=at)
            return Response(AbsenceSerializer(row).data, status=201)
        _require_planner(request, portfolio)
        absence, cause = AbsenceRequest(**data), cause_of(request)
        recorded = run_with_retries(
            lambda: pipeline.record_absence_and_open_jobs(
                portfolio=portfolio, request=absence, by=user, at=at, cause=cause
            )
        )
        return Response(AbsenceSerializer(recorded.absence).data, status=201)


class EndAbsenceEndpoint(APIView):
    """The end of an absence."""

    @extend_schema(operation_id="endAbsence", request=None, responses={204: None, **problem_responses(401, 403, 404)})
    def post(self, request: Request, portfolio: UUID, absence: UUID) -> Response:
        """End the absence now, or take it back before it begins."""
        user = user_of(request)
        row = Absence.objects.filter(id=absence, portfolio=portfolio).first()
        whole = policy.portfolios_for(user, "board.see", timezone.now()).filter(id=portfolio)
        if row is None or not (row.user_id == user.id or whole.exists()):
            raise Http404
        _require_right(request, portfolio, row.user_id)
        if not end_absence(absence=absence, portfolio=portfolio, at=timezone.now()):
            raise Http404
        return Response(status=204)


def _require_visible(request: Request, portfolio: UUID) -> None:
    if not policy.grants_for(user_of(request), "board.see", timezone.now()).filter(portfolio=portfolio).exists():
        raise Http404


def _require_right(request: Request, portfolio: UUID, person: UUID) -> None:
    """Refuse who may record neither the absences of this portfolio nor, by a session, the person's own."""
    user = user_of(request)
    is_own = person == user.id and user.reach is None
    if not is_own and not policy.portfolios_for(user, ACTION, timezone.now()).filter(id=portfolio).exists():
        raise PermissionDenied


def _require_planner(request: Request, portfolio: UUID) -> None:
    """Refuse who may not plan the jobs of the whole portfolio."""
    if not policy.portfolios_for(user_of(request), "job.plan", timezone.now()).filter(id=portfolio).exists():
        raise PermissionDenied
