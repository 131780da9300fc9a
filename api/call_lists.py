"""Endpoints of call lists: the lines in force, adopting others, and the clock times of a chosen moment."""

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
from api.http.query_validation import validate_query
from api.http.strict import IdField, InstantField, StrictSerializer, TextField, validate_body
from api.http.versions import IF_MATCH, respond_with_version, version_of
from api.terms import WholeField
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.notices.call_list.adoption import adopt_call_list, newest_number
from fleet.notices.call_list.clock_times import call_times
from fleet.notices.call_list.lines import ANY, INTERRUPTING, MAX_LINES, CallLine
from fleet.notices.call_list.recipients import adopted_lists, read_reachable
from fleet.notices.channels.registry import channels_in_use
from fleet.portfolio.models import Building
from fleet.rules.values import LEVELS

LINE_LEVELS = (ANY, *LEVELS)


class CallLineSerializer(StrictSerializer):
    """One line: of alerts of this condition (or any) and class (or any), these are told after so many minutes."""

    condition = TextField(max_length=32, help_text=f"{', '.join(INTERRUPTING)}, another condition, or any.")
    level = serializers.ChoiceField(choices=LINE_LEVELS)
    after_minutes = WholeField()
    hears = TextField(max_length=80, help_text="A role, or @ and a user name.")
    channel = TextField(max_length=32, required=False, allow_blank=True, help_text="Tried first. Empty: as chosen.")


class NewCallListSerializer(StrictSerializer):
    """A list to adopt; `lines` null goes back to the wider list."""

    lines = serializers.ListField(child=CallLineSerializer(), allow_null=True, max_length=MAX_LINES)


class CallListSerializer(serializers.Serializer[object]):
    """The lines in force. `adopted` false: nothing was adopted here, they are the wider list's or the default."""

    version = serializers.IntegerField()
    adopted = serializers.BooleanField()
    lines = CallLineSerializer(many=True)


class CallListQuerySerializer(StrictSerializer):
    """Whose list: a building's, or without it the portfolio's."""

    building = IdField(required=False)


class CallTimesQuerySerializer(StrictSerializer):
    """An imagined alert: its building, condition, class and moment (default: now)."""

    building = IdField()
    condition = TextField(max_length=32)
    level = serializers.ChoiceField(choices=LEVELS, default="hold")
    at = InstantField(required=False)


class CalledPersonSerializer(serializers.Serializer[object]):
    """Somebody whom a step reaches."""

    user = serializers.UUIDField(source="user.id")
    name = serializers.CharField(source="user.display_name")
    stands_in_for = serializers.CharField(allow_blank=True)


class CallTimeSerializer(serializers.Serializer[object]):
    """One moment of a call, and whom it reaches; nobody: from then on nobody is left to tell."""

    at = serializers.DateTimeField()
    clock = serializers.CharField()
    people = CalledPersonSerializer(many=True)
    sentence = serializers.CharField()


class CallListEndpoint(APIView):
    """The call list of a portfolio, or of one building of it."""

    @extend_schema(
        operation_id="getCallList",
        parameters=[CallListQuerySerializer],
        responses={200: CallListSerializer, **problem_responses(400, 401, 404)},
    )
    def get(self, request: Request, portfolio: UUID) -> Response:
        """Return the lines in force. The ETag is the version of what was adopted here."""
        building = validate_query(request, CallListQuerySerializer).get("building")
        _require_visible(request, portfolio, building)
        return _respond_with_list(portfolio, building)

    @extend_schema(
        operation_id="adoptCallList",
        parameters=[CallListQuerySerializer, IF_MATCH],
        request=NewCallListSerializer,
        responses={201: CallListSerializer, **problem_responses(400, 401, 403, 404, 412, 413, 415, 422, 428, 503)},
    )
    def post(self, request: Request, portfolio: UUID) -> Response:
        """Adopt a list. One that leaves a hold, a danger or a cold building to nobody is refused, naming the hole."""
        at, user = timezone.now(), user_of(request)
        building = validate_query(request, CallListQuerySerializer).get("building")
        _require_visible(request, portfolio, building)
        if not _may_adopt(request, portfolio, building):
            raise PermissionDenied
        data = validate_body(request, NewCallListSerializer)
        version = version_of(request)
        lines = None if data["lines"] is None else [CallLine(**line) for line in data["lines"]]
        adopt_call_list(
            portfolio=portfolio,
            building=building,
            lines=lines,
            number=version,
            channels=list(channels_in_use()),
            by=user,
            at=at,
        )
        return _respond_with_list(portfolio, building, 201)


class CallTimesEndpoint(APIView):
    """Who would be told when."""

    @extend_schema(
        operation_id="getCallTimes",
        parameters=[CallTimesQuerySerializer],
        responses={200: CallTimeSerializer(many=True), **problem_responses(400, 401, 404)},
    )
    def get(self, request: Request, portfolio: UUID) -> Response:
        """Return the clock times of an imagined alert. Nobody is told."""
        query = validate_query(request, CallTimesQuerySerializer)
        _require_visible(request, portfolio, query["building"])
        house = Building.objects.get(id=query["building"])
        moment = query.get("at") or timezone.now()
        times = call_times(building=house, condition=query["condition"], level=query["level"], at=moment)
        return Response(CallTimeSerializer(times, many=True).data)


def _require_visible(request: Request, portfolio: UUID, building: UUID | None) -> None:
    """Raise Http404 unless the user may see the list: the portfolio's in all of it, a building's there."""
    at, user = timezone.now(), user_of(request)
    if building is None:
        is_visible = policy.portfolios_for(user, "call_list.see", at).filter(id=portfolio).exists()
    else:
        visible = policy.boilers_for(user, "call_list.see", at).filter(portfolio=portfolio)
        is_visible = visible.filter(building=building).exists()
    if not is_visible:
        raise Http404


def _may_adopt(request: Request, portfolio: UUID, building: UUID | None) -> bool:
    at, user = timezone.now(), user_of(request)
    if building is not None:
        return policy.is_allowed(user, "call_list.adopt", portfolio=portfolio, building=building, at=at)
    return policy.portfolios_for(user, "call_list.adopt", at).filter(id=portfolio).exists()


def _respond_with_list(portfolio: UUID, building: UUID | None, status: int = 200) -> Response:
    lines = read_reachable(portfolio, timezone.now()).lines_of(building)
    version = newest_number(portfolio, building)
    is_own = building in adopted_lists(portfolio)
    body = {"version": version, "adopted": is_own, "lines": [line.as_json() for line in lines]}
    return respond_with_version(CallListSerializer(body).data, version, status)
