"""The endpoint of a technician's work sheet: what one boiler asks for now, in the order of work."""

from datetime import datetime
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from api.boilers import BOILER_PATH_PARAMETER
from api.http.access import boiler_for
from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.query_validation import validate_query
from api.http.strict import StrictSerializer
from api.register_gaps import RegisterGapSerializer
from api.visit_serializers import KINDS
from fleet.jobs import work_sheet
from fleet.rules.values import LEVELS


class ToReadSerializer(serializers.Serializer[object]):
    """A reading to take: its unit, its possible range, and what is accepted, in words."""

    name = serializers.CharField()
    type = serializers.ChoiceField(choices=("bool", "number", "choice"))
    unit = serializers.CharField(allow_blank=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    choices = serializers.ListField(child=serializers.CharField())
    required = serializers.BooleanField()  # type: ignore[assignment]
    accept = serializers.CharField(allow_blank=True)
    source = serializers.CharField(allow_blank=True)  # type: ignore[assignment]


class LastSerializer(serializers.Serializer[object]):
    """The newest test of the same procedure at the same position."""

    visit = serializers.UUIDField(source="entry.visit_id")
    entry = serializers.UUIDField(source="entry.id")
    performed_at = serializers.DateTimeField(source="entry.performed_at")
    outcome = serializers.CharField()
    readings = serializers.DictField(child=serializers.JSONField())


class LineSerializer(serializers.Serializer[object]):
    """One task at one position. Its cautions come before its steps."""

    position = serializers.UUIDField(source="position.id", allow_null=True, default=None)
    place = serializers.CharField(source="position.name", default="the boiler")
    phase = serializers.ChoiceField(choices=("as_found", "repair", "as_left"), source="ask.phase")
    because = serializers.ChoiceField(
        choices=("failed", "touched", "to_be_touched", "due", "soon", "season", "visit"), source="ask.because"
    )
    why = serializers.CharField(source="ask.why")
    level = serializers.ChoiceField(choices=LEVELS, source="ask.level")
    deficiency = serializers.UUIDField(source="ask.deficiency", allow_null=True)
    first_act = serializers.CharField(source="ask.act", allow_blank=True)
    procedure = serializers.CharField(source="ask.procedure", allow_blank=True)
    title = serializers.SerializerMethodField()
    cautions = serializers.CharField(source="procedure.caution", default="", allow_blank=True)
    steps = serializers.ListField(child=serializers.CharField(), source="procedure.steps", default=list)
    readings = serializers.SerializerMethodField()
    set_points = serializers.DictField(child=serializers.JSONField())
    last = LastSerializer(allow_null=True)
    who = serializers.SerializerMethodField(help_text="One of these qualifications gives a result its worth.")
    second_person = serializers.SerializerMethodField()
    minutes = serializers.IntegerField(source="procedure.minutes", default=None, allow_null=True)
    tools = serializers.ListField(child=serializers.CharField(), source="procedure.tools", default=list)
    parts = serializers.ListField(child=serializers.CharField(), source="procedure.parts", default=list)
    source = serializers.CharField(source="procedure.source", default="", allow_blank=True)  # type: ignore[assignment]

    def get_title(self, line: work_sheet.WorkLine) -> str:
        """Return the procedure's name, or the title of a repair."""
        return line.procedure.name if line.procedure else "Put right"

    @extend_schema_field(ToReadSerializer(many=True))
    def get_readings(self, line: work_sheet.WorkLine) -> object:
        """Return the readings to take, the required ones first."""
        specs = list(line.procedure.readings.values()) if line.procedure else []
        return ToReadSerializer(sorted(specs, key=lambda s: not s.required), many=True).data

    def get_who(self, line: work_sheet.WorkLine) -> list[str]:
        """Return the qualifications, sorted."""
        return sorted(line.procedure.who) if line.procedure else ["technician"]

    def get_second_person(self, line: work_sheet.WorkLine) -> bool:
        """Return whether it takes two people."""
        return line.procedure is not None and line.procedure.people > 1


class PartSerializer(serializers.Serializer[object]):
    """One group of the order of work. `always` is part of it on every visit."""

    number = serializers.IntegerField(source="group.number")
    title = serializers.CharField(source="group.title")
    always = serializers.CharField(source="group.always")
    lines = LineSerializer(many=True)


class FirstSerializer(serializers.Serializer[object]):
    """An open deficiency of class hold, and what to do first about it."""

    deficiency = serializers.UUIDField()
    position = serializers.UUIDField(allow_null=True)
    sentence = serializers.CharField()
    act = serializers.CharField(allow_blank=True)


class SheetSerializer(serializers.Serializer[object]):
    """The work sheet, from its caution to the leaving checks. Groups 0 to 8 are in the order of work."""

    boiler = serializers.UUIDField(source="boiler.id")
    as_of = serializers.DateTimeField(source="at")
    caution = serializers.CharField()
    first = FirstSerializer(many=True)
    season = serializers.CharField()
    groups = PartSerializer(many=True, source="parts")
    leaving_checks = serializers.DictField(child=serializers.CharField(), source="leaving")
    minutes = serializers.IntegerField()
    people = serializers.IntegerField()
    tools = serializers.ListField(child=serializers.CharField())
    parts = serializers.ListField(child=serializers.CharField(), source="spares")
    not_on_record = RegisterGapSerializer(many=True, source="gaps")


class SheetQuerySerializer(StrictSerializer):
    """The kind of visit the sheet is of."""

    kind = serializers.ChoiceField(
        choices=KINDS,
        required=False,
        help_text="An annual service or season start lists all that such a visit does, a routine check its four "
        "things. Any other kind, or none, lists what is due or open.",
    )


@describe_detail("getSheet", BOILER_PATH_PARAMETER, SheetQuerySerializer, codes=(400, 401, 404))
class SheetEndpoint(DetailEndpoint):
    """The work sheet of one boiler."""

    item_serializer, action = SheetSerializer, "visit.see"  # it shows the last readings

    def find_item(self, request: Request, at: datetime, **where: UUID) -> work_sheet.WorkSheet:
        """Return the sheet, composed of stored conclusions."""
        kind = validate_query(request, SheetQuerySerializer).get("kind", "")
        boiler = boiler_for(request, where["boiler"], see=self.action, do=self.action, at=at)
        return work_sheet.compose_work_sheet(boiler, at, kind)

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return the day: what comes due within a month is added to the sheet on its day."""
        return (work_sheet.round_to_grain(at),)
