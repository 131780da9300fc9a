"""The endpoint of a person's day in the field: the jobs of today and tomorrow, and the boilers one may visit."""

from datetime import datetime
from uuid import UUID

from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from rest_framework import serializers
from rest_framework.request import Request

from api.http.detail_endpoints import DetailEndpoint, describe_detail
from fleet.accounts.requests import user_of
from fleet.board.models import Segment
from fleet.jobs.work_sheet import round_to_grain
from fleet.reading import field_day
from fleet.rules.values import LEVELS, Standing
from fleet.rules.vocabulary import values_of
from fleet.rules.wording import ADVICE_CAUTION

STANDINGS = values_of(Standing)


class DayItemSerializer(serializers.Serializer[object]):
    """One thing a job asks for that is still open."""

    boiler = serializers.UUIDField(source="item.boiler_id")
    position = serializers.UUIDField(source="item.position_id", allow_null=True)
    procedure = serializers.CharField(source="item.procedure", allow_blank=True)
    deficiency = serializers.UUIDField(source="item.deficiency_id", allow_null=True)
    sentence = serializers.CharField(source="item.sentence")
    level = serializers.ChoiceField(choices=LEVELS, source="item.level")


class DayJobSerializer(serializers.Serializer[object]):
    """A job of today or tomorrow by the building's calendar, or of an earlier day that is not done (`is_late`)."""

    id = serializers.UUIDField(source="detail.job.id")
    version = serializers.IntegerField(source="detail.job.version")
    status = serializers.CharField(source="detail.status")
    day = serializers.DateField()
    is_late = serializers.BooleanField()
    start = serializers.DateTimeField(source="detail.job.planned_since")
    end = serializers.DateTimeField(source="detail.job.planned_until")
    building = serializers.UUIDField(source="detail.job.building_id")
    address = serializers.CharField(source="detail.job.building.address")
    zone = serializers.CharField(source="detail.job.building.zone")
    access_hours = serializers.CharField(source="detail.job.building.access_hours", allow_blank=True)
    minutes = serializers.IntegerField(source="detail.job.minutes")
    people = serializers.IntegerField(source="detail.job.people")
    parts = serializers.ListField(child=serializers.CharField(), source="detail.job.parts")
    note = serializers.CharField(source="detail.job.note", allow_blank=True)
    with_user = serializers.UUIDField(source="detail.job.second_id", allow_null=True)
    with_name = serializers.CharField(source="detail.job.second.display_name", allow_null=True, default=None)
    items = DayItemSerializer(many=True, source="detail.open")


class DayBoilerSerializer(serializers.Serializer[object]):
    """A boiler that the person may visit. `first_act` is what to do about it first, of a hold and of an exposed one."""

    id = serializers.UUIDField(source="boiler_id")
    building = serializers.UUIDField(source="boiler.building_id")
    address = serializers.CharField(source="boiler.building.address")
    name = serializers.CharField(source="boiler.name")
    standing = serializers.ChoiceField(choices=STANDINGS)
    first_act = serializers.SerializerMethodField()

    def get_first_act(self, row: Segment) -> str:
        """Return the first act where somebody could be hurt without it."""
        return row.then if row.standing in ("hold", "exposed") else ""


class WhoIsItSerializer(serializers.Serializer[object]):
    """The person whose day it is."""

    id = serializers.UUIDField()
    name = serializers.CharField(source="display_name")
    units = serializers.CharField()


class FieldDaySerializer(serializers.Serializer[object]):
    """A person's day. `boilers` are those one may post a visit of, worst first; `more` counts those left off."""

    caution = serializers.SerializerMethodField()
    as_of = serializers.DateTimeField(source="at")
    person = WhoIsItSerializer(source="user")
    qualifications = serializers.ListField(child=serializers.CharField())
    is_of_desk = serializers.BooleanField()
    jobs = DayJobSerializer(many=True)
    boilers = DayBoilerSerializer(many=True)
    more = serializers.IntegerField()

    def get_caution(self, day: field_day.FieldDay) -> str:
        """Return the line that stands at the top of every page."""
        return ADVICE_CAUTION


@method_decorator(gzip_page, name="dispatch")  # a phone may have little signal
@describe_detail("getFieldDay", codes=(401,))
class FieldDayEndpoint(DetailEndpoint):
    """One's own day in the field."""

    item_serializer, action = FieldDaySerializer, "visit.post"

    def find_item(self, request: Request, at: datetime, **where: UUID) -> field_day.FieldDay:
        """Return the day of whoever asks."""
        return field_day.compose_field_day(user_of(request), at)

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return the quarter hour: days begin at each building's own midnight."""
        return (round_to_grain(at),)
