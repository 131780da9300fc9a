"""The endpoint of the forecast: what comes due and lapses each week if nobody does anything."""

from datetime import timedelta
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.figures import StandingDaySerializer, filter_boilers
from api.http.answers import ReasonSerializer, problem_responses
from api.http.query_validation import BoilerScopeQuerySerializer, validate_query
from api.http.strict import ValidatedData
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.board.models import StateSegment
from fleet.figures import forecast, standing_counts


class ForecastQuerySerializer(BoilerScopeQuerySerializer):
    """How far ahead, and of which boilers."""

    weeks = serializers.IntegerField(min_value=1, max_value=forecast.MAX_WEEKS, default=forecast.MAX_WEEKS)


class WeekSerializer(serializers.Serializer[object]):
    """A week from Monday on, in each building's local days: how many positions come due and how many lapse."""

    monday = serializers.DateField()
    due = serializers.IntegerField()
    lapsed = serializers.IntegerField()


class BoilerWeeksSerializer(serializers.Serializer[object]):
    """The weeks of one boiler. Weeks in which nothing happens are left out."""

    boiler = serializers.UUIDField()
    weeks = WeekSerializer(many=True)


class StepSerializer(serializers.Serializer[object]):
    """One position that will be due or lapsed from `since` on, with the reason."""

    position = serializers.UUIDField(source="position_id")
    name = serializers.CharField(source="position.name")
    state = serializers.ChoiceField(choices=forecast.STEP_STATES)
    since = serializers.DateTimeField()
    reason = ReasonSerializer()


class ForecastSerializer(serializers.Serializer[object]):
    """A forecast by time alone. `steps` is empty unless one boiler was asked for."""

    as_of = serializers.DateTimeField()
    weeks = WeekSerializer(many=True)
    boilers = BoilerWeeksSerializer(many=True)
    standings_at_week_end = StandingDaySerializer(many=True)
    steps = StepSerializer(many=True)


class ForecastEndpoint(APIView):
    """What comes due and lapses, week by week."""

    @extend_schema(
        operation_id="getForecast",
        parameters=[ForecastQuerySerializer],
        responses={200: ForecastSerializer, **problem_responses(400, 401)},
    )
    def get(self, request: Request) -> Response:
        """Return the forecast of the boilers the caller may see, or of the portfolio or boiler asked for."""
        at = timezone.now()
        query = validate_query(request, ForecastQuerySerializer)
        boilers = filter_boilers(policy.boilers_for(user_of(request), "board.see", at), query)
        weeks = forecast.forecast_by_week(boilers, at, query["weeks"])
        body = {
            "as_of": at,
            "weeks": weeks,
            "boilers": [
                {"boiler": b, "weeks": w} for b, w in forecast.forecast_by_boiler(boilers, at, query["weeks"]).items()
            ],
            "standings_at_week_end": _standings_at_week_ends(boilers, weeks),
            "steps": _forecast_steps(boilers, at, query),
        }
        return Response(ForecastSerializer(body).data)


def _standings_at_week_ends(boilers: Any, weeks: list[forecast.ForecastWeek]) -> list[dict[str, Any]]:
    first, last = weeks[0].monday, weeks[-1].monday + timedelta(days=6)
    return [{"day": d.day, **d.counts} for d in standing_counts.standings_per_day(boilers, first, last)][6::7]


def _forecast_steps(boilers: Any, at: Any, query: ValidatedData) -> list[StateSegment]:
    return forecast.steps_of(boilers, at, query["weeks"]) if "boiler" in query else []
