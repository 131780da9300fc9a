"""Endpoints of jobs: suggested trips, the list, making a job, and what people do: plan, accept, withdraw and more."""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.examples import TECHNICIAN
from api.http.answers import problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, PageSerializer, describe_list
from api.http.query_validation import validate_query
from api.http.retry import run_with_retries
from api.http.strict import IdField, InstantField, StrictSerializer, TextField, ValidatedData, make_fault, validate_body
from api.http.versions import IF_MATCH, respond_with_version, version_of
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.accounts.requests import cause_of, user_of
from fleet.jobs import queries, states, suggest
from fleet.jobs.acts import JobDecision
from fleet.jobs.models import Job as Row
from fleet.portfolio.models import Boiler
from fleet.rules.values import LEVELS

MAX_ITEMS = 60
DECISION_RESPONSES = problem_responses(400, 401, 403, 404, 409, 412, 413, 415, 422, 428, 503)

# About the demonstration's boiler 1 in 12 Alder Terrace. All are valid requests.
EXAMPLE_BUILDING = "2842435a-aa19-54d2-8ddb-337f72130b35"
EXAMPLE_LIMIT_POSITION = "e603bd65-37e2-5ae4-a63b-9a191041916f"
ASK_EXAMPLE: dict[str, Any] = {
    "building": EXAMPLE_BUILDING,
    "procedures": [{"position": EXAMPLE_LIMIT_POSITION, "procedure": "limit_trip"}],
}
PLAN_EXAMPLE: dict[str, Any] = {"to": TECHNICIAN, "start": "2026-01-13T09:00:00-05:00"}
WITHDRAW_EXAMPLE: dict[str, Any] = {"reason": "Called in sick."}
DECLINE_EXAMPLE: dict[str, Any] = {"reason": "The van is in the shop that day."}


class ProcedureAtSerializer(StrictSerializer):
    """A procedure to pass at a position."""

    position = IdField()
    procedure = TextField(max_length=64)


class AskSerializer(StrictSerializer):
    """What one trip should do: close deficiencies and pass procedures, all in one building and by one skill."""

    building = IdField()
    deficiencies = serializers.ListField(child=IdField(), required=False, default=list)
    procedures = ProcedureAtSerializer(many=True, required=False, default=list)
    note = TextField(max_length=2000, required=False, default="")

    def find_cross_field_faults(self, data: ValidatedData) -> ValidatedData:
        """Return a fault for each list that is too long, before any element is validated."""
        lists = (n for n in ("deficiencies", "procedures") if isinstance(data.get(n), list))
        return {n: [make_fault("too_many", f"At most {MAX_ITEMS}.")] for n in lists if len(data[n]) > MAX_ITEMS}


class PlanSerializer(StrictSerializer):
    """Whom to send and when, with a second person where the work takes two."""

    to = IdField()
    start = InstantField()
    reason = TextField(max_length=400, required=False)

    def get_fields(self) -> dict[str, Any]:
        """Add `with`, which is a keyword of Python."""
        return {**super().get_fields(), "with": IdField(required=False)}


class WhySerializer(StrictSerializer):
    """The reason, in a sentence."""

    reason = TextField(max_length=400)


class NothingSerializer(StrictSerializer):
    """An optional reason."""

    reason = TextField(max_length=400, required=False)


class SettledSerializer(serializers.Serializer[object]):
    """When and how one item was settled: closed, passed, visited after a call, or withdrawn by a correction."""

    at = serializers.DateTimeField()
    how = serializers.ChoiceField(choices=("closed", "passed", "visited", "withdrawn"))
    visit = serializers.UUIDField(allow_null=True)


class AskedSerializer(serializers.Serializer[object]):
    """One item of a job. `settled` is null while it is open."""

    boiler = serializers.UUIDField(source="item.boiler_id")
    position = serializers.UUIDField(source="item.position_id", allow_null=True)
    deficiency = serializers.UUIDField(source="item.deficiency_id", allow_null=True)
    call = serializers.UUIDField(source="item.call_id", allow_null=True)
    procedure = serializers.CharField(source="item.procedure", allow_blank=True)
    sentence = serializers.CharField(source="item.sentence")
    level = serializers.ChoiceField(choices=LEVELS, source="item.level")
    settled = SettledSerializer(allow_null=True)


class JobActSerializer(serializers.Serializer[object]):
    """One act on a job as it was recorded."""

    kind = serializers.ChoiceField(choices=states.ACTS)
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    to = serializers.CharField(source="technician.username", allow_null=True, default=None)
    start = serializers.DateTimeField(source="since", allow_null=True)
    end = serializers.DateTimeField(source="until", allow_null=True)
    reason = serializers.CharField(allow_blank=True)


class JobSerializer(serializers.Serializer[object]):
    """A job as of now: its status, what it takes, who is sent when, and its items with what is settled."""

    id = serializers.UUIDField(source="job.id")
    building = serializers.UUIDField(source="job.building_id")
    version = serializers.IntegerField(source="job.version")
    status = serializers.ChoiceField(choices=states.STATUSES)
    level = serializers.ChoiceField(choices=LEVELS, source="job.level")
    created_at = serializers.DateTimeField(source="job.created_at")
    minutes = serializers.IntegerField(source="job.minutes")
    people = serializers.IntegerField(source="job.people")
    skills = serializers.ListField(child=serializers.CharField(), source="job.skills")
    parts = serializers.ListField(child=serializers.CharField(), source="job.parts")
    note = serializers.CharField(source="job.note", allow_blank=True)
    to = serializers.UUIDField(source="job.technician_id", allow_null=True)
    start = serializers.DateTimeField(source="job.planned_since", allow_null=True)
    end = serializers.DateTimeField(source="job.planned_until", allow_null=True)
    visit = serializers.UUIDField(source="job.visit_id", allow_null=True)
    asked = AskedSerializer(many=True)
    acts = JobActSerializer(many=True)

    def get_fields(self) -> dict[str, Any]:
        """Add `with`, which is a keyword of Python."""
        return {**super().get_fields(), "with": serializers.UUIDField(source="job.second_id", allow_null=True)}


class JobsQuerySerializer(PageSerializer):
    """Filters of the list of jobs: one building, one status."""

    building = IdField(required=False)
    status = serializers.ChoiceField(choices=states.STATUSES, required=False)


class SuggestedJobsQuerySerializer(StrictSerializer):
    """The building to suggest trips for."""

    building = IdField()


class WantedSerializer(serializers.Serializer[object]):
    """One item a trip could do. `due` is the instant from which it is asked for."""

    boiler = serializers.UUIDField()
    position = serializers.UUIDField(allow_null=True)
    deficiency = serializers.UUIDField(allow_null=True)
    procedure = serializers.CharField(allow_blank=True)
    sentence = serializers.CharField()
    level = serializers.ChoiceField(choices=LEVELS)
    due = serializers.DateTimeField(allow_null=True)


class TripSerializer(serializers.Serializer[object]):
    """What one trip of one skill could do, with its minutes and parts."""

    skill = serializers.CharField()
    level = serializers.ChoiceField(choices=LEVELS)
    minutes = serializers.IntegerField()
    people = serializers.IntegerField()
    parts = serializers.ListField(child=serializers.CharField())
    items = WantedSerializer(many=True)


@describe_list("listJobs")
class JobListEndpoint(ListEndpoint):
    """Jobs, the newest first. Planners see all jobs of their portfolios, technicians see their own."""

    query_serializer, item_serializer, action, order = (
        JobsQuerySerializer,
        JobSerializer,
        "board.see",
        ("-created_at", "id"),
    )

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[Row]:
        """Return the jobs that the user may see. A job whose day has passed counts as missed at once."""
        query = walk.query
        rows = queries.visible_jobs(user_of(request), walk.now).filter(created_at__lte=walk.at)
        rows = rows.filter(building=query["building"]) if "building" in query else rows
        rows = queries.jobs_of_status(rows, query["status"], walk.at) if "status" in query else rows
        return queries.with_details(rows)

    def present_rows(self, rows: Sequence[Any], walk: ListWalk) -> Iterable[queries.JobDetail]:
        """Add the items and acts of each job."""
        return queries.job_details(rows, walk.at)

    @extend_schema(
        operation_id="createJob",
        request=AskSerializer,
        responses={201: JobSerializer, **problem_responses(400, 401, 403, 404, 413, 415, 422, 503)},
        examples=[OpenApiExample("A limit trip", value=ASK_EXAMPLE, request_only=True)],
    )
    def post(self, request: Request) -> Response:
        """Make a job. An item that another open job asks already is refused."""
        at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
        data = validate_body(request, AskSerializer)
        _require_building_access(user, data["building"], "job.create", at)
        pairs = [(p["position"], p["procedure"]) for p in data["procedures"]]
        ask = pipeline.JobRequest(data["deficiencies"], pairs, data["note"])
        job = run_with_retries(
            lambda: pipeline.create_job(building=data["building"], request=ask, by=user, at=at, cause=request_cause)
        )
        return _respond_with_job(job.id, at, 201)


class SuggestedJobsEndpoint(APIView):
    """Trips that could be made to a building."""

    @extend_schema(
        operation_id="suggestJobs",
        parameters=[SuggestedJobsQuerySerializer],
        responses={200: TripSerializer(many=True), **problem_responses(400, 401, 403, 404)},
    )
    def get(self, request: Request) -> Response:
        """Return one trip per skill: open deficiencies and procedures due within a month, not asked elsewhere."""
        at = timezone.now()
        building = validate_query(request, SuggestedJobsQuerySerializer)["building"]
        _require_building_access(user_of(request), building, "job.create", at)
        return Response(TripSerializer(suggest.suggest_trips(building, at), many=True).data)


class JobEndpoint(APIView):
    """One job."""

    @extend_schema(operation_id="getJob", responses={200: JobSerializer, **problem_responses(401, 404)})
    def get(self, request: Request, job: UUID) -> Response:
        """Return the job. The ETag is its version."""
        at = timezone.now()
        _find_visible_job(user_of(request), job, at)
        return _respond_with_job(job, at)


def _make_job_action_endpoint(
    kind: str, action: str, serializer_class: type[StrictSerializer], name: str, description: str, example: Any = None
) -> type[APIView]:
    """Return the endpoint of one act on a job."""
    examples = [OpenApiExample(description, value=example, request_only=True)] if example else []

    class JobActionEndpoint(APIView):
        @extend_schema(
            operation_id=name,
            description=description,
            parameters=[IF_MATCH],
            request=serializer_class,
            responses={200: JobSerializer, **DECISION_RESPONSES},
            examples=examples,
        )
        def post(self, request: Request, job: UUID) -> Response:
            return _act_on_job(
                request,
                job,
                action=action,
                serializer_class=serializer_class,
                build_decision=lambda data: _build_decision(kind, data),
            )

    JobActionEndpoint.__name__, JobActionEndpoint.__doc__ = kind.capitalize(), description
    return JobActionEndpoint


PlanJobEndpoint = _make_job_action_endpoint(
    "plan",
    "job.plan",
    serializer_class=PlanSerializer,
    name="planJob",
    description="Plan it for a technician and a day.",
    example=PLAN_EXAMPLE,
)
AcceptJobEndpoint = _make_job_action_endpoint(
    "accept",
    "job.answer",
    serializer_class=NothingSerializer,
    name="acceptJob",
    description="Accept a job planned for yourself.",
)
DeclineJobEndpoint = _make_job_action_endpoint(
    "decline",
    "job.answer",
    serializer_class=WhySerializer,
    name="declineJob",
    description="Decline it, with the reason.",
    example=DECLINE_EXAMPLE,
)
StartJobEndpoint = _make_job_action_endpoint(
    "start", "job.answer", serializer_class=NothingSerializer, name="startJob", description="Start it, on its day."
)
WithdrawPlanEndpoint = _make_job_action_endpoint(
    "withdraw",
    "job.plan",
    serializer_class=WhySerializer,
    name="withdrawJobPlan",
    description="Take the plan back, with the reason. The job is to be planned again.",
    example=WITHDRAW_EXAMPLE,
)
CancelJobEndpoint = _make_job_action_endpoint(
    "cancel",
    "job.cancel",
    serializer_class=WhySerializer,
    name="cancelJob",
    description="Cancel it, with the reason.",
)


def _build_decision(kind: str, data: ValidatedData) -> JobDecision:
    return JobDecision(
        kind, data.get("reason", ""), technician=data.get("to"), second=data.get("with"), since=data.get("start")
    )


def _require_building_access(user: User, building: UUID, action: str, at: datetime) -> None:
    """Raise Http404 where no boiler of the building may be seen, PermissionDenied where `action` is not allowed."""
    boiler = policy.boilers_for(user, "board.see", at).filter(building=building).first()
    if boiler is None:
        raise Http404
    _require_action(user, boiler, action, at)


def _require_action(user: User, boiler: Boiler, action: str, at: datetime) -> None:
    if not policy.is_allowed(user, action, portfolio=boiler.portfolio_id, building=boiler.building_id, at=at):
        raise PermissionDenied


def _find_visible_job(user: User, job: UUID, at: datetime) -> Row:
    row = queries.visible_jobs(user, at).filter(id=job).first()
    if row is None:
        raise Http404
    return row


def _act_on_job(
    request: Request,
    job: UUID,
    action: str,
    serializer_class: type[StrictSerializer],
    build_decision: Callable[[ValidatedData], JobDecision],
) -> Response:
    at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
    row = _find_visible_job(user, job, at)
    if not policy.is_allowed(user, action, portfolio=row.portfolio_id, building=row.building_id, at=at):
        raise PermissionDenied
    data = validate_body(request, serializer_class)
    version = version_of(request)  # RFC 9110, 13.2.1: checked last, when the request would else succeed
    decision = build_decision(data)
    run_with_retries(
        lambda: pipeline.act_on_job(job=job, decision=decision, version=version, by=user, at=at, cause=request_cause)
    )
    return _respond_with_job(job, at)


def _respond_with_job(job: UUID, at: datetime, status: int = 200) -> Response:
    row = queries.with_details(Row.objects.filter(id=job)).get()
    return respond_with_version(JobSerializer(queries.job_detail(row, at)).data, row.version, status)
