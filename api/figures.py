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

from api.http.answers import problem_responses
from api.http.query_validation import BoilerScopeQuerySerializer, validate_query
from api.http.strict import DayField, ValidatedData
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.errors import Refused
from fleet.figures import repairs, standing_counts
from fleet.figures.failure_counts import failures_by_kind
from fleet.portfolio.models import Boiler
from fleet.rules.values import LEVELS, STANDINGS

MAX_DAYS = 1100  # three years of days
MAX_DAYS_AHEAD = 371  # as far as a year's forecast reaches
DEFAULT_DAYS = 90


class FiguresQuerySerializer(BoilerScopeQuerySerializer):
    """Which days, both ends included, and which boilers."""

    first = DayField(required=False, help_text="The first day. Default: 90 days before the last.")
    last = DayField(required=False, help_text="The last day. Default: today (UTC). It may be in the future.")


def _make_day_counts_serializer(name: str, names: Iterable[str]) -> type[serializers.Serializer[object]]:
    """Return a serializer class for a day with one count for each of `names`."""
    fields: dict[str, Any] = {n: serializers.IntegerField() for n in names}
    serializer_class = type(name, (serializers.Serializer,), {"day": serializers.DateField(), **fields})
    serializer_class.__doc__ = "How many there were of each at the end of the building's local day."
    return serializer_class


StandingDaySerializer = _make_day_counts_serializer("StandingDaySerializer", STANDINGS)
ClassDaySerializer = _make_day_counts_serializer("ClassDaySerializer", LEVELS)
AgeDaySerializer = _make_day_counts_serializer("AgeDaySerializer", standing_counts.BAND_NAMES)


class TookSerializer(serializers.Serializer[object]):
    """Deficiencies closed in these days, by the worst class each had, and the time from opening to closing."""

    level = serializers.ChoiceField(choices=LEVELS)
    count = serializers.IntegerField()
    median_hours = serializers.FloatField(allow_null=True)
    ninth_tenth_hours = serializers.FloatField(allow_null=True)


class FoundFailedSerializer(serializers.Serializer[object]):
    """How often devices of a kind failed their tests as found in these days."""

    kind = serializers.CharField()
    count = serializers.IntegerField()


class FiguresSerializer(serializers.Serializer[object]):
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


class FiguresEndpoint(APIView):
    """Standings, open deficiencies, their ages and repairs day by day."""

    @extend_schema(
        operation_id="getFigures",
        parameters=[FiguresQuerySerializer],
        responses={200: FiguresSerializer, **problem_responses(400, 401, 422)},
    )
    def get(self, request: Request) -> Response:
        """Return the figures of the days asked for. Facts that arrive late change past days."""
        at = timezone.now()
        query = validate_query(request, FiguresQuerySerializer)
        first, last = _read_span(query, at)
        boilers = filter_boilers(policy.boilers_for(user_of(request), "board.see", at), query)
        return Response(FiguresSerializer({**_collect_figures(boilers, first, last), "as_of": at}).data)


def filter_boilers(boilers: QuerySet[Boiler], query: ValidatedData) -> QuerySet[Boiler]:
    """Keep the visible boilers that were asked for. An id that is not among them leaves none."""
    columns = {"portfolio": "portfolio", "boiler": "id"}
    return boilers.filter(**{columns[name]: query[name] for name in columns if name in query})


def _read_span(query: ValidatedData, at: datetime) -> tuple[date, date]:
    today = at.date()
    last: date = query.get("last", today)
    first: date = query.get("first", last - timedelta(days=DEFAULT_DAYS))
    if first > last:
        raise Refused("after_last", "The first day is after the last.", ("first",), status=422)
    if (last - first).days >= MAX_DAYS:
        raise Refused("too_many_days", f"At most {MAX_DAYS} days.", ("first",), status=422)
    if last > today + timedelta(days=MAX_DAYS_AHEAD):
        raise Refused("too_far_ahead", f"At most {MAX_DAYS_AHEAD} days ahead.", ("last",), status=422)
    return first, last


def _collect_figures(boilers: QuerySet[Boiler], first: date, last: date) -> dict[str, Any]:
    closed = repairs.repair_times_by_class(repairs.closed_repairs(boilers, first, last))
    return {
        "first": first,
        "last": last,
        "standings": _flatten_days(standing_counts.standings_per_day(boilers, first, last)),
        "open_by_class": _flatten_days(standing_counts.open_by_class_per_day(boilers, first, last)),
        "open_by_age": _flatten_days(standing_counts.age_bands_per_day(boilers, first, last)),
        "oldest_opened": standing_counts.oldest_opening(boilers, last),
        "time_to_repair": [_describe_repair_times(level, took) for level, took in closed.items()],
        "found_failed": [{"kind": k, "count": n} for k, n in failures_by_kind(boilers, first, last).items()],
    }


def _flatten_days(days: Iterable[standing_counts.DayCounts]) -> list[dict[str, Any]]:
    return [{"day": d.day, **d.counts} for d in days]


def _describe_repair_times(level: str, took: repairs.RepairTimes) -> dict[str, Any]:
    hours = {"median_hours": took.median, "ninth_tenth_hours": took.ninth_tenth}
    return {
        "level": level,
        "count": took.count,
        **{n: t and round(t / timedelta(hours=1), 2) for n, t in hours.items()},
    }
