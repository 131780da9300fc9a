"""Endpoints of what one is asked by another portfolio: to do a job, to take a role, to be named as qualified."""

from django.core.exceptions import PermissionDenied
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.retry import run_with_retries
from api.http.strict import StrictSerializer, TextField, validate_body
from fleet import pipeline
from fleet.accounts.models import Grant, Qualification
from fleet.accounts.people import ROLES
from fleet.accounts.requests import cause_of, user_of
from fleet.jobs import asked
from fleet.jobs.asked_versions import qualification_version, role_version
from fleet.pipeline.requests import KINDS
from fleet.rules.vocabulary import QUALIFICATIONS

ANSWER_EXAMPLE: dict[str, object] = {
    "answer": "decline",
    "version": "3f6c0d8a9b21e754",
    "reason": "I am in another town that week.",
}


class AskedJobSerializer(serializers.Serializer[object]):
    """A job one is asked to do. `as_second`: somebody else leads it, and one would come along."""

    id = serializers.UUIDField(source="job.id")
    portfolio = serializers.CharField(source="job.building.portfolio.name")
    address = serializers.CharField(source="job.building.address")
    access_hours = serializers.CharField(source="job.building.access_hours", allow_blank=True)
    start = serializers.DateTimeField(source="job.planned_since")
    end = serializers.DateTimeField(source="job.planned_until")
    skills = serializers.ListField(child=serializers.CharField(), source="job.skills")
    sentences = serializers.SerializerMethodField()
    as_second = serializers.BooleanField()
    version = serializers.CharField()

    def get_sentences(self, row: asked.AskedJob) -> list[str]:
        """Return what the job asks for."""
        return [item.sentence for item in sorted(row.job.items.all(), key=lambda i: i.number)]


class AskedRoleSerializer(serializers.Serializer[object]):
    """A role one is asked to take, in a whole portfolio (`address` null) or one building."""

    id = serializers.UUIDField()
    portfolio = serializers.CharField(source="portfolio.name")
    address = serializers.CharField(source="building.address", allow_null=True, default=None)
    role = serializers.ChoiceField(choices=ROLES)
    until = serializers.DateTimeField(source="asked_until", allow_null=True)
    held_until = serializers.SerializerMethodField()
    asked_at = serializers.DateTimeField(source="asked_since")
    version = serializers.SerializerMethodField()

    @extend_schema_field(serializers.DateTimeField(allow_null=True))
    def get_held_until(self, row: Grant) -> object:
        """Return until when one has the role already, where one is asked to keep it longer; null else."""
        return row.until if row.longer_since else None

    def get_version(self, row: Grant) -> str:
        """Return the version of what is asked."""
        return role_version(row)


class AskedQualificationSerializer(serializers.Serializer[object]):
    """A qualification that a portfolio wants to count one's results by."""

    id = serializers.IntegerField()
    portfolio = serializers.CharField(source="portfolio.name")
    code = serializers.ChoiceField(choices=QUALIFICATIONS)
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)
    asked_at = serializers.DateTimeField(source="waits_since")
    version = serializers.SerializerMethodField()

    def get_version(self, row: Qualification) -> str:
        """Return the version of what is asked."""
        return qualification_version(row)


class RequestsSerializer(serializers.Serializer[object]):
    """All that waits for one's answer."""

    jobs = AskedJobSerializer(many=True)
    roles = AskedRoleSerializer(many=True)
    qualifications = AskedQualificationSerializer(many=True)


class RequestAnswerSerializer(StrictSerializer):
    """Yes or no to the version that was read. A job is declined with a reason."""

    answer = serializers.ChoiceField(choices=("accept", "decline"))
    version = TextField(max_length=64)
    reason = TextField(max_length=400, required=False)


class RequestsEndpoint(APIView):
    """What other portfolios ask of one."""

    @extend_schema(operation_id="listRequests", responses={200: RequestsSerializer, **problem_responses(401, 403)})
    def get(self, request: Request) -> Response:
        """Return all that waits for one's answer. Nothing of it has begun."""
        _require_reach(request, kind="")
        return Response(RequestsSerializer(asked.requests_of(user_of(request), timezone.now())).data)


class AnswerRequestEndpoint(APIView):
    """Answering one of them."""

    @extend_schema(
        operation_id="answerRequest",
        request=RequestAnswerSerializer,
        parameters=[
            OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=list(KINDS)),
            OpenApiParameter("subject", str, OpenApiParameter.PATH),
        ],
        responses={200: RequestsSerializer, **problem_responses(400, 401, 403, 404, 409, 413, 415, 422, 503)},
        examples=[OpenApiExample("No, and why", value=ANSWER_EXAMPLE, request_only=True)],
    )
    def post(self, request: Request, kind: str, subject: str) -> Response:
        """Accept, and it begins; or decline, and it does not. Returns what still waits. By key only jobs.

        409 with what it is now where it was changed after it was read: `version` is that of the list.
        """
        at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
        _require_reach(request, kind)
        data = validate_body(request, RequestAnswerSerializer)
        answer = pipeline.RequestAnswer(
            kind, subject, data["answer"] == "accept", version=data["version"], reason=data.get("reason", "")
        )
        run_with_retries(lambda: pipeline.answer_request(answer=answer, by=user, at=at, cause=request_cause))
        return Response(RequestsSerializer(asked.requests_of(user, at)).data)


def _require_reach(request: Request, kind: str) -> None:
    """Refuse a key of one portfolio, and to answer by key anything but a job: a lost key must not open new doors."""
    reach = user_of(request).reach
    if reach is None:
        return
    if reach.portfolio is not None or (kind and not (kind == "jobs" and reach.covers_action("job.answer"))):
        raise PermissionDenied
