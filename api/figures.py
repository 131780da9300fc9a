"""The endpoint of figures over time, for the boilers the caller may see, by present knowledge."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.answers import STANDINGS, problems
from api.asked import OfSerializer, asked
from fleet.accounts import policy
from fleet.board import figures, repairs
from fleet.board.found import found_failed_by_kind
from fleet.errors import Refused
from fleet.portfolio.models import Boiler
from fleet.rules.values import Level

LONGEST = 1100  # three years of days
AHEAD = 371  # as far as a year's forecast reaches
USUAL = 90


class SpanSerializer(OfSerializer):
    """Which days, both ends included, and which boilers."""

    first = serializers.DateField(required=False, help_text="The first day; 90 days before the last if left out.")
    last = serializers.DateField(required=False, help_text="The last day; today (UTC) if left out. It may lie ahead.")


def _counts(name: str, names: Iterable[str]) -> type[serializers.Serializer[Any]]:
    """Return a serializer class for a day with one count for each of `names`."""
    fields: dict[str, Any] = {n: serializers.IntegerField() for n in names}
    made = type(name, (serializers.Serializer,), {"day": serializers.DateField(), **fields})
    made.__doc__ = "How many there were of each at the end of the building's local day."
    return made


StandingDaySerializer = _counts("StandingDaySerializer", STANDINGS)
ClassDaySerializer = _counts("ClassDaySerializer", [level.value for level in Level])
AgeDaySerializer = _counts("AgeDaySerializer", figures.BAND_NAMES)


class TookSerializer(serializers.Serializer[Any]):
    """Deficiencies closed in these days, by the worst class each had, and the time from opening to closing."""

    level = serializers.ChoiceField(choices=[level.value for level in Level])
    count = serializers.IntegerField()
    median_hours = serializers.FloatField(allow_null=True)
    ninth_tenth_hours = serializers.FloatField(allow_null=True)


class FoundFailedSerializer(serializers.Serializer[Any]):
    """How often devices of a kind failed their tests as found in these days."""

    kind = serializers.CharField()
    count = serializers.IntegerField()


class FiguresSerializer(serializers.Serializer[Any]):
    """Figures over time. A day that has not ended yet is a forecast by time alone."""

    first = serializers.DateField()
    last = serializers.DateField()
    as_of = serializers.DateTimeField()
    standings = StandingDaySerializer(many=True)
    open_by_class = ClassDaySerializer(many=True)
    open_by_age = AgeDaySerializer(many=True)
    oldest_opened = serializers.DateField(allow_null=True)
    time_to_repair = TookSerializer(many=True)
    found_failed = FoundFailedSerializer(many=True)


class Figures(APIView):
    """Standings, open deficiencies, their ages and repairs day by day."""

    @extend_schema(
        operation_id="getFigures",
        parameters=[SpanSerializer],
        responses={200: FiguresSerializer, **problems(400, 401, 422)},
    )
    def get(self, request: Request) -> Response:
        """Return the figures of the days asked for. Facts that arrive late change past days."""
        at = timezone.now()
        given = asked(request, SpanSerializer)
        first, last = _days(given, at)
        seen = meant(policy.boilers(request.user, "board.see", at), given)
        return Response(FiguresSerializer({**_figures(seen, first, last), "as_of": at}).data)


def meant(seen: QuerySet[Boiler], given: dict[str, Any]) -> QuerySet[Boiler]:
    """Keep the visible boilers that were asked for. An id that is not among them leaves none."""
    columns = {"portfolio": "portfolio", "boiler": "id"}
    return seen.filter(**{columns[name]: given[name] for name in columns if name in given})


def _days(given: dict[str, Any], at: datetime) -> tuple[date, date]:
    today = at.date()
    last: date = given.get("last", today)
    first: date = given.get("first", last - timedelta(days=USUAL))
    if first > last:
        raise Refused("after_last", "The first day lies after the last.", ("first",), status=422)
    if (last - first).days >= LONGEST:
        raise Refused("too_many_days", f"At most {LONGEST} days.", ("first",), status=422)
    if last > today + timedelta(days=AHEAD):
        raise Refused("too_far_ahead", f"At most {AHEAD} days ahead.", ("last",), status=422)
    return first, last


def _figures(seen: QuerySet[Boiler], first: date, last: date) -> dict[str, Any]:
    closed = repairs.by_class(repairs.time_to_repair(seen, first, last))
    return {
        "first": first,
        "last": last,
        "standings": _flat(figures.standings_per_day(seen, first, last)),
        "open_by_class": _flat(figures.open_by_class_per_day(seen, first, last)),
        "open_by_age": _flat(figures.age_bands_per_day(seen, first, last)),
        "oldest_opened": figures.oldest(seen, last),
        "time_to_repair": [_took(level, took) for level, took in closed.items()],
        "found_failed": [{"kind": k, "count": n} for k, n in found_failed_by_kind(seen, first, last).items()],
    }


def _flat(days: Iterable[figures.Day]) -> list[dict[str, Any]]:
    return [{"day": d.day, **d.counts} for d in days]


def _took(level: str, took: repairs.Took) -> dict[str, Any]:
    hours = {"median_hours": took.median, "ninth_tenth_hours": took.ninth_tenth}
    return {
        "level": level,
        "count": took.count,
        **{n: t and round(t / timedelta(hours=1), 2) for n, t in hours.items()},
    }
