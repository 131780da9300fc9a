"""Endpoints of the people of a portfolio: their roles, the ends of these, and their qualifications."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.paged_lists import ListEndpoint, ListWalk, describe_list
from api.http.retry import run_with_retries
from api.http.strict import IdField, InstantField, StrictSerializer, TextField, validate_body
from fleet import pipeline
from fleet.accounts import people, policy
from fleet.accounts.grants import RECORD_KINDS, role_history
from fleet.accounts.models import Grant, GrantRecord, User
from fleet.accounts.people import ROLES, RoleWish
from fleet.accounts.requests import cause_of, user_of
from fleet.accounts.welcome_links import welcome_path
from fleet.errors import Refused
from fleet.records.row_spans import not_ended
from fleet.rules.vocabulary import QUALIFICATIONS

SEE_ACTION, CHANGE_ACTION = "people.see", "people.change"
PORTFOLIO_PATH_PARAMETER = OpenApiParameter("portfolio", UUID, OpenApiParameter.PATH)
NEW_PERSON_EXAMPLE: dict[str, Any] = {"username": "mira.castell", "name": "Mira Castell", "role": "caretaker"}


class GrantSerializer(serializers.Serializer[object]):
    """A role in the whole portfolio (`building` null) or in one building, without end or until an instant."""

    id = serializers.UUIDField()
    role = serializers.ChoiceField(choices=ROLES)
    building = serializers.UUIDField(source="building_id", allow_null=True)
    until = serializers.DateTimeField(allow_null=True)
    waits_since = serializers.DateTimeField(
        allow_null=True, help_text="Asked since then and not accepted yet: it gives nothing."
    )
    longer_since = serializers.DateTimeField(
        allow_null=True, help_text="Asked since then to keep it until `longer_until` (null: without end)."
    )
    longer_until = serializers.DateTimeField(allow_null=True)


class QualificationSerializer(serializers.Serializer[object]):
    """A qualification. `everywhere` is true where the installation vouches for it."""

    code = serializers.ChoiceField(choices=QUALIFICATIONS)
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)
    waits_since = serializers.DateTimeField(
        allow_null=True, help_text="Asked since then and not accepted yet: it does not count."
    )
    everywhere = serializers.SerializerMethodField()

    def get_everywhere(self, row: Any) -> bool:
        """Return whether it counts in every portfolio."""
        return row.portfolio_id is None


class MemberSerializer(serializers.Serializer[object]):
    """A person with a role in this portfolio."""

    id = serializers.UUIDField()
    username = serializers.CharField()
    name = serializers.CharField(source="get_full_name", allow_blank=True)
    grants = GrantSerializer(many=True, source="here")
    qualifications = QualificationSerializer(many=True, source="counting")


class GivenSerializer(GrantSerializer):
    """A role as granted. `welcome` is where a new person chooses a password; it is shown only once."""

    user = serializers.UUIDField(source="user_id")
    welcome = serializers.CharField(allow_null=True, default=None)


class NewGrantSerializer(StrictSerializer):
    """A role for a person known here (`user`) or for a new person (`username`, `name`)."""

    user = IdField(required=False)
    username = serializers.RegexField(rf"\A{people.USERNAME.pattern}\Z", required=False, max_length=40)
    name = TextField(max_length=120, required=False)
    role = serializers.ChoiceField(choices=ROLES)
    building = IdField(required=False)
    until = InstantField(required=False)


class NewQualificationSerializer(StrictSerializer):
    """A qualification to record, from an instant on."""

    code = serializers.ChoiceField(choices=QUALIFICATIONS)
    since = InstantField()
    until = InstantField(required=False)


@describe_list("listPeople", PORTFOLIO_PATH_PARAMETER, codes=(400, 401, 404, 422))
class PeopleEndpoint(ListEndpoint):
    """The people of a portfolio."""

    item_serializer, action, order = MemberSerializer, SEE_ACTION, ("username", "id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[User]:
        """Return people with a role in force or asked to take one. Raises Http404 where the user may not see them."""
        _require_visible(request, where["portfolio"], walk.now)
        return people.people_of_portfolio(where["portfolio"], walk.at)

    def get_tag_parts(self, at: datetime) -> tuple[object, ...]:
        """Return the roles in force. The pulse does not change when time alone ends one."""
        grants = Grant.asked_or_accepted.filter(not_ended(at), portfolio=self.kwargs["portfolio"])
        return tuple(grants.order_by("id").values_list("id", "until", "waits_since", "longer_since"))

    def present_rows(self, rows: Sequence[Any], walk: ListWalk) -> Iterable[Any]:
        """Add the roles in this portfolio and the qualifications that count in it."""
        return people.with_roles([row.id for row in rows], self.kwargs["portfolio"], walk.at)

    @extend_schema(
        operation_id="grantRole",
        request=NewGrantSerializer,
        responses={201: GivenSerializer, **problem_responses(400, 401, 403, 404, 409, 422, 503)},
        examples=[OpenApiExample("Somebody new", value=NEW_PERSON_EXAMPLE, request_only=True)],
    )
    def post(self, request: Request, portfolio: UUID) -> Response:
        """Grant a role. Granting the same role again sets its new end.

        Somebody of other portfolios is asked first, also about a later end than the one accepted.
        """
        at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
        _require_change(request, portfolio, at)
        data = validate_body(request, NewGrantSerializer)
        _require_one_person(data)
        wish = RoleWish(data["role"], data.get("building"), data.get("until"))
        new_person = (data.get("username", ""), data.get("name", ""))
        grant = run_with_retries(
            lambda: pipeline.grant_role(
                portfolio=portfolio,
                user=data.get("user"),
                new=new_person,
                wish=wish,
                by=user,
                at=at,
                cause=request_cause,
            )
        )
        grant.welcome = welcome_path(grant.user) if new_person[0] else None  # type: ignore[attr-defined]
        return Response(GivenSerializer(grant).data, status=201, headers={"Cache-Control": "no-store"})


class EndGrantEndpoint(APIView):
    """Ending a role."""

    @extend_schema(
        operation_id="endRole", request=None, responses={200: GrantSerializer, **problem_responses(401, 403, 404, 503)}
    )
    def post(self, request: Request, portfolio: UUID, grant: UUID) -> Response:
        """End the role now, or take back what is asked. Ending it again changes nothing."""
        at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
        _require_change(request, portfolio, at)
        row = Grant.asked_or_accepted.select_related("user").filter(id=grant, portfolio=portfolio).first()
        if row is None:
            raise Http404
        ended_grant = run_with_retries(lambda: pipeline.end_role(grant=row, by=user, at=at, cause=request_cause))
        return Response(GrantSerializer(ended_grant).data)


class GrantRecordSerializer(serializers.Serializer[object]):
    """What became of a role: when, by whom (null: it followed from a job), and its end from then on."""

    id = serializers.UUIDField()
    grant = serializers.UUIDField(source="grant_id")
    role = serializers.ChoiceField(choices=ROLES, source="grant.role")
    building = serializers.UUIDField(source="grant.building_id", allow_null=True)
    kind = serializers.ChoiceField(choices=RECORD_KINDS)
    at = serializers.DateTimeField()
    by = serializers.CharField(source="by.username", allow_null=True, default=None)
    until = serializers.DateTimeField(allow_null=True)


@describe_list(
    "listRoleHistory",
    PORTFOLIO_PATH_PARAMETER,
    OpenApiParameter("person", UUID, OpenApiParameter.PATH),
    codes=(400, 401, 404, 422),
)
class RoleHistoryEndpoint(ListEndpoint):
    """What became of a person's roles in a portfolio, the newest first. Records are never changed or removed."""

    item_serializer, action, order = GrantRecordSerializer, SEE_ACTION, ("-at", "id")

    def find_rows(self, request: Request, walk: ListWalk, **where: UUID) -> QuerySet[GrantRecord]:
        """Return the records. Raises Http404 unless the user sees people of the whole portfolio."""
        _require_visible(request, where["portfolio"], walk.now)
        return role_history(where["person"], where["portfolio"], walk.at)


class QualificationsEndpoint(APIView):
    """Qualifications that this portfolio vouches for."""

    @extend_schema(
        operation_id="qualifyPerson",
        request=NewQualificationSerializer,
        responses={201: QualificationSerializer, **problem_responses(400, 401, 403, 404, 422, 503)},
    )
    def post(self, request: Request, portfolio: UUID, person: UUID) -> Response:
        """Record a qualification. The boilers of this portfolio that the person worked on are judged again."""
        at, request_cause, user = timezone.now(), cause_of(request), user_of(request)
        _require_change(request, portfolio, at)
        data = {"until": None, **validate_body(request, NewQualificationSerializer)}
        qualification = run_with_retries(
            lambda: pipeline.qualify_person(
                portfolio=portfolio, user=person, by=user, at=at, cause=request_cause, **data
            )
        )
        return Response(QualificationSerializer(qualification).data, status=201)


def _require_one_person(data: Mapping[str, Any]) -> None:
    """Raise Refused unless the data name either a known person or a new one, and a new one has a name."""
    if ("user" in data) == ("username" in data):
        raise Refused("one_of", "Give either an existing user or a new one.", ("user",), status=422)
    if "username" in data and "name" not in data:
        raise Refused("required", "A new user needs a name.", ("name",), status=422)


def _require_visible(request: Request, portfolio: UUID, at: datetime) -> None:
    if not policy.portfolios_for(user_of(request), SEE_ACTION, at).filter(id=portfolio).exists():
        raise Http404


def _require_change(request: Request, portfolio: UUID, at: datetime) -> None:
    _require_visible(request, portfolio, at)
    if not policy.portfolios_for(user_of(request), CHANGE_ACTION, at).filter(id=portfolio).exists():
        raise PermissionDenied
