"""Endpoints of notices: what was sent to oneself, and about what one answers for, with every attempt."""

from datetime import datetime
from uuid import UUID

from django.db.models import Count, Max, Prefetch, QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.strict import IdField
from fleet import pipeline
from fleet.accounts.requests import cause_of, user_of
from fleet.alerts.models import Alert
from fleet.notices.channels.contract import DeliveryOutcome
from fleet.notices.models import NOTICE_STATUSES, DeliveryAttempt, Notice
from fleet.notices.queries import NOTICE_KINDS, text_for_reader, visible_notices

OUTCOMES = tuple(outcome.value for outcome in DeliveryOutcome)


class NoticeSerializer(serializers.Serializer[object]):
    """One message to one person. Its id is the message's id at every attempt."""

    id = serializers.UUIDField()
    portfolio = serializers.UUIDField(source="portfolio_id")
    building = serializers.UUIDField(source="building_id", allow_null=True)
    user = serializers.UUIDField(source="user_id")
    name = serializers.CharField(source="user.display_name")
    kind = serializers.ChoiceField(choices=NOTICE_KINDS)
    level = serializers.CharField()
    interrupts = serializers.BooleanField(source="is_danger")
    subject = serializers.CharField()
    created_at = serializers.DateTimeField()
    due_at = serializers.DateTimeField()
    status = serializers.ChoiceField(choices=NOTICE_STATUSES)
    sent_at = serializers.DateTimeField(allow_null=True)
    tries = serializers.IntegerField()
    folded_into = serializers.UUIDField(source="folded_into_id", allow_null=True)


class DeliveryAttemptSerializer(serializers.Serializer[object]):
    """One try to hand a notice over."""

    at = serializers.DateTimeField()
    channel = serializers.CharField(allow_blank=True)
    outcome = serializers.ChoiceField(choices=OUTCOMES)
    answer = serializers.CharField()


class WholeNoticeSerializer(NoticeSerializer):
    """A notice with its text and attempts. Links that act in its reader's name are in the reader's own copy only."""

    text = serializers.SerializerMethodField()
    attempts = DeliveryAttemptSerializer(many=True)

    def get_text(self, notice: Notice) -> str:
        """Return the text as this reader may see it."""
        return text_for_reader(notice, self.context["reader"])


class NoticesQuerySerializer(PageSerializer):
    """Filters of the list of notices."""

    portfolio = IdField(required=False)
    kind = serializers.ChoiceField(choices=NOTICE_KINDS, required=False)
    status = serializers.ChoiceField(choices=NOTICE_STATUSES, required=False)


@describe_list("listNotices")
class NoticeListEndpoint(ListEndpoint):
    """What was written to oneself, and about what one answers for. The newest first."""

    query_serializer, item_serializer, order = NoticesQuerySerializer, NoticeSerializer, ("-created_at", "id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Notice]:
        """Return the notices that the user may see, as of the first page."""
        rows = visible_notices(user_of(request), walk.now).filter(created_at__lte=walk.at).select_related("user")
        return rows.filter(**{n: walk.query[n] for n in ("portfolio", "kind", "status") if n in walk.query})

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Notices move without facts: with each attempt. Counted, as one may be written behind the newest one."""
        notices = Notice.objects.aggregate(Count("id"), Max("created_at"))
        attempts = DeliveryAttempt.objects.aggregate(Count("id"), Max("at"))
        return *notices.values(), *attempts.values()


class NoticeEndpoint(APIView):
    """One notice."""

    @extend_schema(operation_id="getNotice", responses={200: WholeNoticeSerializer, **problem_responses(401, 404)})
    def get(self, request: Request, notice: UUID) -> Response:
        """Return the notice with its text and every attempt."""
        reader = user_of(request)
        attempts = Prefetch("attempts", DeliveryAttempt.objects.order_by("at", "id"))
        rows = visible_notices(reader, timezone.now()).select_related("user").prefetch_related(attempts)
        row = rows.filter(id=notice).first()
        if row is None:
            raise Http404
        return Response(WholeNoticeSerializer(row, context={"reader": reader}).data)


class AcknowledgedSerializer(serializers.Serializer[object]):
    """The alerts that were acknowledged."""

    alerts = serializers.ListField(child=serializers.UUIDField())


class AcknowledgeNoticeEndpoint(APIView):
    """Acknowledge what a notice called oneself of."""

    @extend_schema(
        operation_id="acknowledgeNotice",
        request=None,
        responses={200: AcknowledgedSerializer, **problem_responses(400, 401, 403, 404, 409, 413, 415, 503)},
    )
    def post(self, request: Request, notice: UUID) -> Response:
        """Acknowledge the alerts of one's own notice, once. The calling rests for four hours; they stay open."""
        alerts: list[Alert] = pipeline.acknowledge_notice(
            notice=notice, by=user_of(request), at=timezone.now(), cause=cause_of(request)
        )
        return Response({"alerts": [str(alert.id) for alert in alerts]})
