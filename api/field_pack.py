"""The endpoint of one boiler as a phone keeps it, so that a visit can be written without signal."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from rest_framework import serializers
from rest_framework.request import Request

from api.boilers import BOILER_PATH_PARAMETER
from api.http.access import boiler_for
from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.register_gaps import RegisterGapSerializer
from api.sheet import FirstSerializer, LastSerializer
from api.visit_serializers import KINDS
from fleet.accounts.requests import user_of
from fleet.jobs.contacts import Contact
from fleet.jobs.work_sheet import round_to_grain
from fleet.reading import field_pack
from fleet.reading.field_pack import FieldPack
from fleet.rules.values import LEVELS, Standing
from fleet.rules.vocabulary import values_of
from fleet.rules.wording import ADVICE_CAUTION
from fleet.visits.models import Visit

STANDINGS = values_of(Standing)


class ContactSerializer(serializers.Serializer[object]):
    """Somebody to tell or to ask. `dial` is the number as a telephone dials it."""

    id = serializers.UUIDField(source="user.id")
    name = serializers.CharField()
    dial = serializers.CharField(allow_blank=True)
    roles = serializers.SerializerMethodField()

    def get_roles(self, contact: Contact) -> list[str]:
        """Return the roles, each once."""
        return sorted({grant.role for grant in contact.roles})


class PackedLineSerializer(serializers.Serializer[object]):
    """One thing to do, as on the work sheet. The procedure's words are in the words of the field."""

    group = serializers.IntegerField()
    position = serializers.UUIDField(source="ask.position", allow_null=True)
    procedure = serializers.CharField(source="ask.procedure", allow_blank=True)
    phase = serializers.CharField(source="ask.phase", help_text="as_found, repair or as_left.")
    because = serializers.CharField(source="ask.because")
    why = serializers.CharField(source="ask.why")
    level = serializers.ChoiceField(choices=LEVELS, source="ask.level")
    deficiency = serializers.UUIDField(source="ask.deficiency", allow_null=True)
    first_act = serializers.CharField(source="ask.act", allow_blank=True)


class LimitSerializer(serializers.Serializer[object]):
    """Good from `low` to `high`, failed over `failed_over` and under `failed_under`, in the reading's unit."""

    procedure = serializers.CharField()
    reading = serializers.CharField()
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    failed_over = serializers.FloatField(allow_null=True)
    failed_under = serializers.FloatField(allow_null=True)


class PackedPlaceSerializer(serializers.Serializer[object]):
    """A place, what fills it and what is set there, its state, and the limits of its readings."""

    id = serializers.UUIDField(source="position.id")
    ref = serializers.CharField(source="position.ref")
    name = serializers.CharField(source="position.name")
    role = serializers.CharField(source="position.role_id")
    kind = serializers.CharField(source="device.kind_id", default="", allow_blank=True)
    device = serializers.UUIDField(source="device.id", allow_null=True, default=None)
    set_points = serializers.DictField(child=serializers.JSONField())
    state = serializers.CharField(source="state.state", default="", allow_blank=True)
    reason = serializers.CharField(source="state.reason.sentence", default="", allow_blank=True)
    limits = LimitSerializer(many=True)


class LastTestSerializer(LastSerializer):
    """The newest test of one procedure at one place."""

    position = serializers.UUIDField(source="entry.position_id")
    procedure = serializers.CharField(source="entry.code")


class PackedFaultSerializer(serializers.Serializer[object]):
    """A deficiency: what it is, since when, and how grave."""

    id = serializers.UUIDField()
    rule = serializers.CharField()
    sentence = serializers.CharField()
    position = serializers.UUIDField(source="position_id", allow_null=True)
    opened_at = serializers.DateTimeField()
    closed_at = serializers.DateTimeField(allow_null=True)


class EarlierVisitSerializer(serializers.Serializer[object]):
    """A visit that stands. `correctable` where whoever asks may correct it now."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(choices=KINDS)
    performed_at = serializers.DateTimeField()
    people = serializers.ListField(child=serializers.CharField())
    correctable = serializers.BooleanField()


class PackedBoilerSerializer(serializers.Serializer[object]):
    """Which boiler it is, and where."""

    id = serializers.UUIDField()
    portfolio = serializers.UUIDField(source="portfolio_id")
    building = serializers.UUIDField(source="building_id")
    name = serializers.CharField()
    ref = serializers.CharField()
    address = serializers.CharField(source="building.address")
    zone = serializers.CharField(source="building.zone")
    units = serializers.IntegerField(source="building.units")
    access_hours = serializers.CharField(source="building.access_hours", allow_blank=True)


class FieldPackSerializer(serializers.Serializer[object]):
    """One boiler whole. `sheets` are by kind of visit; "" is that of every kind without a list of its own."""

    caution = serializers.CharField()
    as_of = serializers.DateTimeField()
    boiler = PackedBoilerSerializer()
    standing = serializers.ChoiceField(choices=STANDINGS)
    reason = serializers.CharField(allow_blank=True)
    first = FirstSerializer(many=True)
    dangers = PackedFaultSerializer(many=True)
    open = PackedFaultSerializer(many=True)
    places = PackedPlaceSerializer(many=True)
    sheets = serializers.DictField(child=PackedLineSerializer(many=True))
    season = serializers.CharField()
    last = LastTestSerializer(many=True)
    not_on_record = RegisterGapSerializer(many=True)
    visits = EarlierVisitSerializer(many=True)
    people = ContactSerializer(many=True)


@method_decorator(gzip_page, name="dispatch")  # a phone may have little signal
@describe_detail("getFieldPack", BOILER_PATH_PARAMETER)
class FieldPackEndpoint(DetailEndpoint):
    """One boiler as a phone keeps it."""

    item_serializer, action = FieldPackSerializer, "visit.see"

    def find_item(self, request: Request, at: datetime, **where: UUID) -> dict[str, object]:
        """Return the boiler's pack for whoever asks."""
        boiler = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=at)
        return _present_pack(field_pack.compose_field_pack(boiler, user_of(request), at))

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return the quarter hour, as of the work sheet."""
        return (round_to_grain(at),)


def _present_pack(pack: FieldPack) -> dict[str, object]:
    sheet, standing = pack.sheets[""], pack.standing
    return {
        "caution": ADVICE_CAUTION,
        "as_of": pack.at,
        "boiler": pack.boiler,
        "standing": standing.standing if standing else Standing.NOT_SURVEYED.value,
        "reason": standing.reasons[0]["sentence"] if standing and standing.reasons else "",
        "first": sheet.first,
        "dangers": pack.dangers,
        "open": pack.open,
        "places": pack.places,
        "sheets": {
            kind: [line for part in sheet_of_kind.parts for line in part.lines]
            for kind, sheet_of_kind in pack.sheets.items()
        },
        "season": sheet.season,
        "last": pack.last_tests,
        "not_on_record": sheet.gaps,
        "visits": [_present_visit(visit, pack.correctable) for visit in pack.visits],
        "people": pack.people,
    }


def _present_visit(visit: Visit, correctable: Collection[UUID]) -> dict[str, object]:
    names = [person.user.display_name if person.user else person.name for person in visit.people.all()]
    return {
        "id": visit.id,
        "kind": visit.kind,
        "performed_at": visit.performed_at,
        "people": names,
        "correctable": visit.id in correctable,
    }
