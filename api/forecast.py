"""The endpoint of the forecast: what comes due and lapses each week if nobody does anything."""

from datetime import timedelta
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.answers import ReasonSerializer, problems
from api.asked import OfSerializer, asked
from api.figures import StandingDaySerializer, meant
from fleet.accounts import policy
from fleet.board import figures, forecast
from fleet.board.models import StateSegment


class AheadSerializer(OfSerializer):
    """How far ahead, and of which boilers."""

    weeks = serializers.IntegerField(min_value=1, max_value=forecast.WEEKS, default=forecast.WEEKS)


class WeekSerializer(serializers.Serializer[Any]):
    """A week from Monday on, in each building's local days: how many positions come due and how many lapse."""

    monday = serializers.DateField()
    due = serializers.IntegerField()
    lapsed = serializers.IntegerField()


class BoilerWeeksSerializer(serializers.Serializer[Any]):
    """The weeks of one boiler. Weeks in which nothing happens are left out."""

    boiler = serializers.UUIDField()
    weeks = WeekSerializer(many=True)


class StepSerializer(serializers.Serializer[Any]):
    """One position that will be due or lapsed from `since` on, with the reason."""

    position = serializers.UUIDField(source="position_id")
    name = serializers.CharField(source="position.name")
    state = serializers.ChoiceField(choices=forecast.STEPS)
    since = serializers.DateTimeField()
    reason = ReasonSerializer()


class ForecastSerializer(serializers.Serializer[Any]):
    """A forecast by time alone. `steps` is empty unless one boiler was asked for."""

    as_of = serializers.DateTimeField()
    weeks = WeekSerializer(many=True)
    boilers = BoilerWeeksSerializer(many=True)
    standings_at_week_end = StandingDaySerializer(many=True)
    steps = StepSerializer(many=True)


class Forecast(APIView):
    """What comes due and lapses, week by week."""

    @extend_schema(
        operation_id="getForecast",
        parameters=[AheadSerializer],
        responses={200: ForecastSerializer, **problems(400, 401)},
    )
    def get(self, request: Request) -> Response:
        """Return the forecast of the boilers the caller may see, or of the portfolio or boiler asked for."""
        at = timezone.now()
        given = asked(request, AheadSerializer)
        seen = meant(policy.boilers(request.user, "board.see", at), given)
        weeks = forecast.by_week(seen, at, given["weeks"])
        body = {
            "as_of": at,
            "weeks": weeks,
            "boilers": [{"boiler": b, "weeks": w} for b, w in forecast.by_boiler(seen, at, given["weeks"]).items()],
            "standings_at_week_end": _standings(seen, weeks),
            "steps": _steps(seen, at, given),
        }
        return Response(ForecastSerializer(body).data)


def _standings(seen: Any, weeks: list[forecast.Week]) -> list[dict[str, Any]]:
    first, last = weeks[0].monday, weeks[-1].monday + timedelta(days=6)
    return [{"day": d.day, **d.counts} for d in figures.standings_per_day(seen, first, last)][6::7]


def _steps(seen: Any, at: Any, given: dict[str, Any]) -> list[StateSegment]:
    return forecast.steps_of(seen, at, given["weeks"]) if "boiler" in given else []
