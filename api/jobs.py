"""Endpoints of jobs: suggested trips, the list, making a job, and the acts plan, accept, decline, start, cancel."""

from collections.abc import Callable, Iterable, Mapping, Sequence
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

from api.access import cause
from api.answers import problems
from api.asked import asked
from api.examples import TECHNICIAN
from api.pages import List, PageSerializer, Walk, described
from api.retry import retried
from api.strict import IdField, InstantField, StrictSerializer, TextField, fault
from api.versions import IF_MATCH, version_of, versioned
from fleet import pipeline
from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.jobs import queries, states, suggest
from fleet.jobs.acts import Decision
from fleet.jobs.models import Job as Row
from fleet.portfolio.models import Boiler

Sent = Mapping[str, Any]
MOST_ASKED = 60
REFUSALS = problems(400, 401, 403, 404, 409, 412, 413, 415, 422, 428, 503)
LEVELS = ("hold", "urgent", "routine")

# About the demonstration's boiler 1 in 12 Alder Terrace. All are valid requests.
BUILDING = "2842435a-aa19-54d2-8ddb-337f72130b35"
LIMIT = "e603bd65-37e2-5ae4-a63b-9a191041916f"
ASK: dict[str, Any] = {"building": BUILDING, "procedures": [{"position": LIMIT, "procedure": "limit_trip"}]}
PLAN: dict[str, Any] = {"to": TECHNICIAN, "start": "2026-01-13T09:00:00-05:00"}
DECLINE: dict[str, Any] = {"reason": "The van is in the shop that day."}


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

    def beside(self, data: dict[str, Any]) -> dict[str, Any]:
        """Return a fault for each list that is too long, before any element is validated."""
        lists = (n for n in ("deficiencies", "procedures") if isinstance(data.get(n), list))
        return {n: [fault("too_many", f"At most {MOST_ASKED}.")] for n in lists if len(data[n]) > MOST_ASKED}


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


class SettledSerializer(serializers.Serializer[Any]):
    """When and how one item was settled: closed, passed, or withdrawn by a correction."""

    at = serializers.DateTimeField()
    how = serializers.ChoiceField(choices=("closed", "passed", "withdrawn"))
    visit = serializers.UUIDField(allow_null=True)


class AskedSerializer(serializers.Serializer[Any]):
    """One item of a job. `settled` is null while it is open."""

    boiler = serializers.UUIDField(source="item.boiler_id")
    position = serializers.UUIDField(source="item.position_id", allow_null=True)
    deficiency = serializers.UUIDField(source="item.deficiency_id", allow_null=True)
    procedure = serializers.CharField(source="item.procedure", allow_blank=True)
    sentence = serializers.CharField(source="item.sentence")
    level = serializers.ChoiceField(choices=LEVELS, source="item.level")
    settled = SettledSerializer(allow_null=True)


class JobActSerializer(serializers.Serializer[Any]):
    """One act on a job as it was recorded."""

    kind = serializers.ChoiceField(choices=states.ACTS)
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    to = serializers.CharField(source="technician.username", allow_null=True, default=None)
    start = serializers.DateTimeField(source="since", allow_null=True)
    end = serializers.DateTimeField(source="until", allow_null=True)
    reason = serializers.CharField(allow_blank=True)


class JobSerializer(serializers.Serializer[Any]):
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


class WhichSerializer(PageSerializer):
    """Filters of the list of jobs: one building, one status."""

    building = IdField(required=False)
    status = serializers.ChoiceField(choices=states.STATUSES, required=False)


class WhereSerializer(StrictSerializer):
    """The building to suggest trips for."""

    building = IdField()


class WantedSerializer(serializers.Serializer[Any]):
    """One item a trip could do. `due` is the instant from which it is asked for."""

    boiler = serializers.UUIDField()
    position = serializers.UUIDField(allow_null=True)
    deficiency = serializers.UUIDField(allow_null=True)
    procedure = serializers.CharField(allow_blank=True)
    sentence = serializers.CharField()
    level = serializers.ChoiceField(choices=LEVELS)
    due = serializers.DateTimeField(allow_null=True)


class TripSerializer(serializers.Serializer[Any]):
    """What one trip of one skill could do, with its minutes and parts."""

    skill = serializers.CharField()
    level = serializers.ChoiceField(choices=LEVELS)
    minutes = serializers.IntegerField()
    people = serializers.IntegerField()
    parts = serializers.ListField(child=serializers.CharField())
    items = WantedSerializer(many=True)


@described("listJobs")
class Jobs(List):
    """Jobs, the newest first. Planners see all jobs of their portfolios, technicians see their own."""

    form, item, action, order = WhichSerializer, JobSerializer, "board.see", ("-created_at", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[Row]:
        """Return the jobs that the user may see. A job whose day has passed counts as missed at once."""
        given = walk.given
        rows = queries.seen(request.user, walk.now).filter(created_at__lte=walk.at)
        rows = rows.filter(building=given["building"]) if "building" in given else rows
        rows = queries.of_status(rows, given["status"], walk.at) if "status" in given else rows
        return queries.listed(rows)

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[queries.Shown]:
        """Add the items and acts of each job."""
        return queries.all_shown(rows, walk.at)

    @extend_schema(
        operation_id="createJob",
        request=AskSerializer,
        responses={201: JobSerializer, **problems(400, 401, 403, 404, 413, 415, 422, 503)},
        examples=[OpenApiExample("A limit trip", value=ASK, request_only=True)],
    )
    def post(self, request: Request) -> Response:
        """Make a job. An item that another open job asks already is refused."""
        at, told, user = timezone.now(), cause(request), request.user
        sent = AskSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        given = sent.validated_data
        _building(user, given["building"], "job.create", at)
        pairs = [(p["position"], p["procedure"]) for p in given["procedures"]]
        ask = pipeline.Asked(given["deficiencies"], pairs, given["note"])
        made = retried(lambda: pipeline.create_job(building=given["building"], asked=ask, by=user, at=at, cause=told))
        return _told(made.id, at, 201)


class Suggested(APIView):
    """Trips that could be made to a building."""

    @extend_schema(
        operation_id="suggestJobs",
        parameters=[WhereSerializer],
        responses={200: TripSerializer(many=True), **problems(400, 401, 403, 404)},
    )
    def get(self, request: Request) -> Response:
        """Return one trip per skill: open deficiencies and procedures due within a month, not asked elsewhere."""
        at = timezone.now()
        building = asked(request, WhereSerializer)["building"]
        _building(request.user, building, "job.create", at)
        return Response(TripSerializer(suggest.trips(building, at), many=True).data)


class Job(APIView):
    """One job."""

    @extend_schema(operation_id="getJob", responses={200: JobSerializer, **problems(401, 404)})
    def get(self, request: Request, job: UUID) -> Response:
        """Return the job. The ETag is its version."""
        at = timezone.now()
        _seen(request.user, job, at)
        return _told(job, at)


def _deed(
    kind: str, action: str, form: type[StrictSerializer], name: str, told: str, example: Any = None
) -> type[APIView]:
    """Return the endpoint of one act on a job."""
    examples = [OpenApiExample(told, value=example, request_only=True)] if example else []

    class Deed(APIView):
        @extend_schema(
            operation_id=name,
            description=told,
            parameters=[IF_MATCH],
            request=form,
            responses={200: JobSerializer, **REFUSALS},
            examples=examples,
        )
        def post(self, request: Request, job: UUID) -> Response:
            return _act(request, job, action, form, lambda sent: _decision(kind, sent))

    Deed.__name__, Deed.__doc__ = kind.capitalize(), told
    return Deed


Plan = _deed("plan", "job.plan", PlanSerializer, "planJob", "Plan it for a technician and a day.", PLAN)
Accept = _deed("accept", "job.answer", NothingSerializer, "acceptJob", "Accept what is planned for oneself.")
Decline = _deed("decline", "job.answer", WhySerializer, "declineJob", "Decline it, with the reason.", DECLINE)
Start = _deed("start", "job.answer", NothingSerializer, "startJob", "Start it, on its day.")
Cancel = _deed("cancel", "job.cancel", WhySerializer, "cancelJob", "Take it away, with the reason.")


def _decision(kind: str, sent: Sent) -> Decision:
    return Decision(kind, sent.get("reason", ""), sent.get("to"), sent.get("with"), sent.get("start"))


def _building(user: User, building: UUID, action: str, at: datetime) -> None:
    """Raise Http404 where no boiler of the building may be seen, PermissionDenied where `action` is not allowed."""
    boiler = policy.boilers(user, "board.see", at).filter(building=building).first()
    if boiler is None:
        raise Http404
    _allowed(user, boiler, action, at)


def _allowed(user: User, boiler: Boiler, action: str, at: datetime) -> None:
    if not policy.may(user, action, boiler.portfolio_id, boiler.building_id, at):
        raise PermissionDenied


def _seen(user: User, job: UUID, at: datetime) -> Row:
    row = queries.seen(user, at).filter(id=job).first()
    if row is None:
        raise Http404
    return row


def _act(
    request: Request, job: UUID, action: str, form: type[StrictSerializer], decide: Callable[[Sent], Decision]
) -> Response:
    at, told, user = timezone.now(), cause(request), request.user
    row = _seen(user, job, at)
    if not policy.may(user, action, row.portfolio_id, row.building_id, at):
        raise PermissionDenied
    sent = form(data=request.data)
    sent.is_valid(raise_exception=True)
    version = version_of(request)  # RFC 9110, 13.2.1: checked last, when the request would else succeed
    decision = decide(sent.validated_data)
    retried(lambda: pipeline.act_on_job(job=job, decision=decision, version=version, by=user, at=at, cause=told))
    return _told(job, at)


def _told(job: UUID, at: datetime, status: int = 200) -> Response:
    row = queries.listed(Row.objects.filter(id=job)).get()
    return versioned(JobSerializer(queries.shown(row, at)).data, row.version, status)
