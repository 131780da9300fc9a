"""Endpoints of stored visits: serializers of the list, and one visit with its entries and present conclusions."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from api.http.answers import FindingSerializer, MissingSerializer, RelaySerializer
from api.http.detail_endpoints import DetailEndpoint, describe_detail
from api.http.paged_lists import PageSerializer
from api.http.strict import IdField, InstantField, ValidatedData
from api.visit_serializers import ACTS, ARRIVALS, KINDS, LEFT, OUTCOMES, WHY
from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.assessments import stored_visits
from fleet.files import queries as files
from fleet.rules.values import FIRING_ANSWERS
from fleet.rules.vocabulary import NAME_ANSWERS, PAPER_BODIES, QUALIFICATIONS
from fleet.visits import queries
from fleet.visits.models import Visit as Row
from fleet.visits.paper_check import FILE_TYPES
from fleet.visits.register_gaps import ANSWERS

SEE_ACTION = "visit.see"
VISIT_PATH_PARAMETER = OpenApiParameter("visit", UUID, OpenApiParameter.PATH)


class VisitsQuerySerializer(PageSerializer):
    """Filters of the list of visits, by when they were performed."""

    portfolio = IdField(required=False)
    building = IdField(required=False)
    boiler = IdField(required=False)
    kind = serializers.ChoiceField(choices=KINDS, required=False)
    to = InstantField(required=False, help_text="Performed before this instant.")

    def get_fields(self) -> dict[str, Any]:
        """Add `from`, which is a keyword of Python."""
        since = InstantField(required=False, help_text="Performed at or after this instant.")
        return {**super().get_fields(), "from": since}


class WhoSerializer(serializers.Serializer[object]):
    """A person who was at the visit."""

    user = serializers.UUIDField(source="user_id", allow_null=True)
    name = serializers.SerializerMethodField()

    def get_name(self, row: Any) -> str:
        """Return the user name, or the name as given."""
        return str(row.user.get_username() if row.user else row.name)


class NameReplySerializer(serializers.Serializer[object]):
    """What somebody named at the visit of another said of it, and when."""

    user = serializers.UUIDField(source="by_id")
    name = serializers.CharField(source="by.username")
    answer = serializers.ChoiceField(choices=NAME_ANSWERS)
    at = serializers.DateTimeField()
    reason = serializers.CharField(allow_blank=True)


class StoredPaperSerializer(serializers.Serializer[object]):
    """The paper of another body on which the visit's entries rest."""

    body = serializers.ChoiceField(choices=PAPER_BODIES)
    name = serializers.CharField()
    number = serializers.CharField()
    dated_on = serializers.DateField()
    file_name = serializers.CharField()
    file_sha256 = serializers.CharField()
    file_size = serializers.IntegerField()
    file_type = serializers.ChoiceField(choices=FILE_TYPES)


class HeadSerializer(serializers.Serializer[object]):
    """The head of a visit. A corrected one names its correction and has no present readiness."""

    id = serializers.UUIDField()
    portfolio = serializers.UUIDField(source="portfolio_id")
    boiler = serializers.UUIDField(source="boiler_id")
    kind = serializers.ChoiceField(choices=KINDS)
    performed_at = serializers.DateTimeField()
    posted_at = serializers.DateTimeField()
    people = WhoSerializer(many=True, source="people.all")
    state_on_arrival = serializers.ChoiceField(choices=ARRIVALS, allow_blank=True)
    left_as = serializers.ChoiceField(choices=LEFT, allow_blank=True)
    corrects = serializers.UUIDField(source="corrects_id", allow_null=True)
    corrected_by = serializers.SerializerMethodField()
    void = serializers.BooleanField()
    readiness = serializers.SerializerMethodField()
    paper = serializers.SerializerMethodField()
    waits_for_second = serializers.SerializerMethodField()
    waits_for_people = serializers.SerializerMethodField()
    counts_as = serializers.SerializerMethodField()
    replies = NameReplySerializer(many=True, source="name_answers.all")

    @extend_schema_field(serializers.UUIDField(allow_null=True))
    def get_corrected_by(self, row: Row) -> Any:
        """Return the id of the visit that corrects it."""
        correction = getattr(row, "corrected_by", None)
        return str(correction.id) if correction else None

    @extend_schema_field(serializers.ChoiceField(choices=FIRING_ANSWERS, allow_null=True))
    def get_readiness(self, row: Row) -> Any:
        """Return what stands against firing, by present knowledge; null if the boiler was not in hand."""
        readiness = getattr(row, "readiness", None)
        return readiness.answer if readiness else None

    @extend_schema_field(StoredPaperSerializer(allow_null=True))
    def get_paper(self, row: Row) -> Any:
        """Return the paper the visit rests on; null for people at the boiler."""
        paper = getattr(row, "paper", None)
        return StoredPaperSerializer(paper).data if paper else None

    def get_waits_for_second(self, row: Row) -> bool:
        """Return whether it is a correction without effect yet, or a paper that lacks what ends a hold or a tag."""
        return hasattr(row, "waiting") and row.waiting.subject != "names"

    @extend_schema_field(WhoSerializer(many=True))
    def get_waits_for_people(self, row: Row) -> Any:
        """Return who is named, posted by another, and has neither seconded nor denied the visit."""
        ids = row.waiting.people if hasattr(row, "waiting") else []
        return WhoSerializer([p for p in row.people.all() if str(p.user_id) in ids], many=True).data

    @extend_schema_field(serializers.ListField(child=serializers.ChoiceField(choices=QUALIFICATIONS), allow_null=True))
    def get_counts_as(self, row: Row) -> Any:
        """Return the qualifications it counts with until those people second it; null where it waits for nobody."""
        return row.waiting.counts_as if hasattr(row, "waiting") and row.waiting.people else None


class VerdictNowSerializer(serializers.Serializer[object]):
    """The present verdict on an entry."""

    outcome = serializers.CharField()
    sentence = serializers.CharField()
    grade = serializers.CharField(allow_blank=True)
    proves = serializers.CharField(allow_blank=True)
    limit = serializers.CharField(allow_blank=True)
    set_value = serializers.FloatField(allow_null=True)  # type: ignore[assignment]
    source = serializers.CharField(allow_blank=True)  # type: ignore[assignment]
    question = serializers.CharField(allow_blank=True)
    relayed_from = serializers.ListField(child=serializers.UUIDField())


class StoredEntrySerializer(serializers.Serializer[object]):
    """One entry as stored. `now` is its verdict where it differs from the answer. Names end in their units."""

    number = serializers.IntegerField(source="entry.number")
    id = serializers.UUIDField(source="entry.id")
    act = serializers.ChoiceField(choices=ACTS, source="entry.act")
    code = serializers.CharField(source="entry.code", allow_blank=True)
    position = serializers.UUIDField(source="entry.position_id", allow_null=True)
    device = serializers.UUIDField(source="entry.device_id", allow_null=True)
    performed_at = serializers.DateTimeField(source="entry.performed_at")
    phase = serializers.CharField(source="entry.phase", allow_blank=True)
    outcome = serializers.ChoiceField(choices=OUTCOMES, source="entry.outcome", allow_blank=True)
    why = serializers.ChoiceField(choices=WHY, source="entry.why", allow_blank=True)
    reason = serializers.CharField(source="entry.reason", allow_blank=True)
    values = serializers.DictField(child=serializers.JSONField(), source="entry.values")
    readings = serializers.DictField(child=serializers.JSONField())
    now = VerdictNowSerializer(allow_null=True)
    relay = RelaySerializer(allow_null=True)


class FindingNowSerializer(FindingSerializer):
    """A finding by present knowledge."""

    visit = serializers.UUIDField(source="visit_id")
    position = serializers.UUIDField(source="position_id", allow_null=True)


class ReadinessNowSerializer(serializers.Serializer[object]):
    """What stands against firing by present knowledge."""

    answer = serializers.ChoiceField(choices=FIRING_ANSWERS)
    missing = MissingSerializer(many=True)
    not_looked_at = MissingSerializer(many=True)


class StoredRegisterAnswerSerializer(serializers.Serializer[object]):
    """The visit's answer to one role that the register left out."""

    role = serializers.CharField()
    answer = serializers.ChoiceField(choices=ANSWERS)
    kind = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)


class StoredPhotographSerializer(serializers.Serializer[object]):
    """A photograph that the visit declares. `kept`: it has arrived and can be looked at."""

    sha256 = serializers.CharField()
    size = serializers.IntegerField()
    type = serializers.CharField()
    entry = serializers.IntegerField(source="entry.number", allow_null=True, default=None)
    kept = serializers.BooleanField(source="is_kept")


class FactsSerializer(serializers.Serializer[object]):
    """A visit as stored. Fields ending in `_now` are set only where they differ from the answer given at the time."""

    visit = HeadSerializer()
    sha256 = serializers.CharField(source="visit.digest", help_text="Of what was posted, normalized.")
    stands = serializers.BooleanField()
    call_for_heat = serializers.BooleanField(source="visit.call_for_heat", allow_null=True)
    leaving_checks = serializers.DictField(child=serializers.JSONField(), source="visit.leaving_checks")
    register_answers = StoredRegisterAnswerSerializer(many=True, source="visit.register_answers")
    note = serializers.CharField(source="visit.note", allow_blank=True)
    reason = serializers.CharField(source="visit.reason", allow_blank=True)
    paper_lacks = serializers.SerializerMethodField()
    entries = StoredEntrySerializer(many=True)
    photographs = serializers.SerializerMethodField()
    judged_otherwise = serializers.BooleanField()
    findings_now = FindingNowSerializer(many=True, allow_null=True)
    readiness_now = ReadinessNowSerializer(allow_null=True)

    @extend_schema_field(StoredPhotographSerializer(many=True))
    def get_photographs(self, stored: stored_visits.StoredVisit) -> Any:
        """Return the photographs in the order in which they were declared."""
        return StoredPhotographSerializer(files.photographs_of(stored.visit), many=True).data

    @extend_schema_field(serializers.ListField(child=serializers.CharField()))
    def get_paper_lacks(self, stored: stored_visits.StoredVisit) -> Any:
        """Return what the visit's paper lacks to end a hold or a tag, by present knowledge."""
        return list(stored.visit.waiting.lacks) if hasattr(stored.visit, "waiting") else []


def with_conclusions(rows: QuerySet[Row]) -> QuerySet[Row]:
    """Return the visits with the related rows that the head of a visit needs."""
    return rows.select_related("readiness", "waiting").prefetch_related("name_answers__by")


def list_visits(request: Request, query: ValidatedData, now: datetime, at: datetime) -> QuerySet[Row]:
    """Return the visits posted by `at` that the user may see as of `now` and that match the query."""
    columns = {"portfolio": "portfolio", "building": "building", "boiler": "id"}
    boilers = policy.boilers_for(user_of(request), SEE_ACTION, now)
    boilers = boilers.filter(**{c: query[n] for n, c in columns.items() if n in query})
    spans = {"kind": "kind", "from": "performed_at__gte", "to": "performed_at__lt"}
    rows = with_conclusions(queries.visits_to(boilers).filter(posted_at__lte=at))
    return rows.filter(**{c: query[n] for n, c in spans.items() if n in query})


@describe_detail("getVisitFacts", VISIT_PATH_PARAMETER)
class VisitFactsEndpoint(DetailEndpoint):
    """The stored facts of one visit."""

    item_serializer, action = FactsSerializer, SEE_ACTION

    def find_item(self, request: Request, at: datetime, **where: UUID) -> stored_visits.StoredVisit:
        """Return the visit with its facts as stored."""
        row = list_visits(request, {}, at, at).filter(id=where["visit"]).first()
        if row is None:
            raise Http404
        return stored_visits.read_stored_visit(row)
