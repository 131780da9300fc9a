"""The endpoint of one boiler's standing at any instant, past or future, by present or earlier knowledge."""

from dataclasses import asdict
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.access import boiler_for
from api.http.answers import ReasonSerializer, problem_responses
from api.http.query_validation import validate_query
from api.http.strict import InstantField, StrictSerializer
from fleet.reading import standing_history
from fleet.rules.values import STANDINGS
from fleet.rules.wording import ADVICE_CAUTION


class StandingQuerySerializer(StrictSerializer):
    """The instant asked about, and the instant up to which facts count. Defaults: now, and all facts."""

    at = InstantField(required=False, help_text="The instant asked about. Default: now. It may be in the future.")
    known_at = InstantField(required=False, help_text="Count only what was posted by then. Default: everything known.")


class StandingSerializer(serializers.Serializer[object]):
    """The standing with its reasons. `since` null: it always was. `until` null: no end is known."""

    boiler = serializers.UUIDField()
    at = serializers.DateTimeField()
    known_at = serializers.DateTimeField(allow_null=True)
    standing = serializers.ChoiceField(choices=STANDINGS)
    since = serializers.DateTimeField(allow_null=True)
    until = serializers.DateTimeField(allow_null=True)
    reasons = ReasonSerializer(many=True)
    then = serializers.CharField()
    caution = serializers.CharField()


class StandingEndpoint(APIView):
    """The standing of one boiler."""

    @extend_schema(
        operation_id="getStanding",
        parameters=[OpenApiParameter("boiler", UUID, OpenApiParameter.PATH), StandingQuerySerializer],
        responses={200: StandingSerializer, **problem_responses(400, 401, 404)},
    )
    def get(self, request: Request, boiler: UUID) -> Response:
        """Return the standing at `at`, as known at `known_at`."""
        now = timezone.now()
        boiler_row = boiler_for(request, boiler, see="board.see", do="board.see", at=now)
        query = validate_query(request, StandingQuerySerializer)
        standing = standing_history.standing_at(boiler_row.id, query.get("at", now), query.get("known_at"))
        return Response(
            StandingSerializer({**asdict(standing), "boiler": boiler_row.id, "caution": ADVICE_CAUTION}).data
        )
