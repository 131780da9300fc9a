"""Endpoints of the people of a portfolio: their roles, the ends of these, and their qualifications."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib.auth.tokens import default_token_generator
from django.core.exceptions import PermissionDenied
from django.db.models import Prefetch, Q, QuerySet
from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.access import cause
from api.answers import problems
from api.pages import List, Walk, described
from api.retry import retried
from api.strict import IdField, InstantField, StrictSerializer, TextField
from fleet import pipeline
from fleet.accounts import people, policy
from fleet.accounts.models import Grant, User
from fleet.accounts.people import QUALIFICATIONS, ROLES, Wish
from fleet.errors import Refused

SEE, CHANGE = "people.see", "people.change"
PLACE = OpenApiParameter("portfolio", UUID, OpenApiParameter.PATH)
NEWCOMER: dict[str, Any] = {"username": "mira.castell", "name": "Mira Castell", "role": "caretaker"}


class GrantSerializer(serializers.Serializer[Any]):
    """A role in the whole portfolio (`building` null) or in one building, without end or until an instant."""

    id = serializers.UUIDField()
    role = serializers.ChoiceField(choices=ROLES)
    building = serializers.UUIDField(source="building_id", allow_null=True)
    until = serializers.DateTimeField(allow_null=True)


class QualificationSerializer(serializers.Serializer[Any]):
    """A qualification. `everywhere` is true where the installation vouches for it."""

    code = serializers.ChoiceField(choices=QUALIFICATIONS)
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)
    everywhere = serializers.SerializerMethodField()

    def get_everywhere(self, row: Any) -> bool:
        """Return whether it counts in every portfolio."""
        return row.portfolio_id is None


class MemberSerializer(serializers.Serializer[Any]):
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
    username = serializers.RegexField(r"\A[a-z][a-z0-9._-]{1,39}\Z", required=False, max_length=40)
    name = TextField(max_length=120, required=False)
    role = serializers.ChoiceField(choices=ROLES)
    building = IdField(required=False)
    until = InstantField(required=False)


class NewQualificationSerializer(StrictSerializer):
    """A qualification to record, from an instant on."""

    code = serializers.ChoiceField(choices=QUALIFICATIONS)
    since = InstantField()
    until = InstantField(required=False)


@described("listPeople", PLACE, codes=(400, 401, 404, 422))
class People(List):
    """The people of a portfolio."""

    item, action, order = MemberSerializer, SEE, ("username", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[User]:
        """Return people with a role in force. Raises Http404 unless the user sees people of the whole portfolio."""
        _seen(request, where["portfolio"], walk.now)
        return people.of_portfolio(where["portfolio"], walk.at)

    def beside(self, at: datetime) -> tuple[Any, ...]:
        """Return the roles in force. The pulse does not change when time alone ends one."""
        granted = Grant.objects.filter(Q(until=None) | Q(until__gt=at), portfolio=self.kwargs["portfolio"])
        return tuple(granted.order_by("id").values_list("id", "until"))

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Any]:
        """Add the roles in this portfolio and the qualifications that count in it."""
        return with_roles(rows, self.kwargs["portfolio"], walk.at)

    @extend_schema(
        operation_id="grantRole",
        request=NewGrantSerializer,
        responses={201: GivenSerializer, **problems(400, 401, 403, 404, 409, 422, 503)},
        examples=[OpenApiExample("Somebody new", value=NEWCOMER, request_only=True)],
    )
    def post(self, request: Request, portfolio: UUID) -> Response:
        """Grant a role. Granting the same role again sets its new end."""
        at, told, user = timezone.now(), cause(request), request.user
        _may_change(request, portfolio, at)
        sent = NewGrantSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        given = sent.validated_data
        _one_of(given)
        wish = Wish(given["role"], given.get("building"), given.get("until"))
        new = (given.get("username", ""), given.get("name", ""))
        made = retried(
            lambda: pipeline.grant_role(
                portfolio=portfolio, user=given.get("user"), new=new, wish=wish, by=user, at=at, cause=told
            )
        )
        made.welcome = welcome(made.user) if new[0] else None
        return Response(GivenSerializer(made).data, status=201, headers={"Cache-Control": "no-store"})


class EndGrant(APIView):
    """Ending a role."""

    @extend_schema(
        operation_id="endRole", request=None, responses={200: GrantSerializer, **problems(401, 403, 404, 503)}
    )
    def post(self, request: Request, portfolio: UUID, grant: UUID) -> Response:
        """End the role now. Ending it again changes nothing."""
        at, told, user = timezone.now(), cause(request), request.user
        _may_change(request, portfolio, at)
        row = Grant.objects.select_related("user").filter(id=grant, portfolio=portfolio).first()
        if row is None:
            raise Http404
        made = retried(lambda: pipeline.end_role(grant=row, by=user, at=at, cause=told))
        return Response(GrantSerializer(made).data)


class Qualifications(APIView):
    """Qualifications that this portfolio vouches for."""

    @extend_schema(
        operation_id="qualifyPerson",
        request=NewQualificationSerializer,
        responses={201: QualificationSerializer, **problems(400, 401, 403, 404, 422, 503)},
    )
    def post(self, request: Request, portfolio: UUID, person: UUID) -> Response:
        """Record a qualification. The boilers of this portfolio that the person worked on are judged again."""
        at, told, user = timezone.now(), cause(request), request.user
        _may_change(request, portfolio, at)
        sent = NewQualificationSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        given = {"until": None, **sent.validated_data}
        made = retried(lambda: pipeline.qualify(portfolio=portfolio, user=person, by=user, at=at, cause=told, **given))
        return Response(QualificationSerializer(made).data, status=201)


def with_roles(rows: Sequence[Any], portfolio: UUID, at: datetime) -> Iterable[Any]:
    """Return these people with their roles in force in a portfolio and the qualifications that count there."""
    granted = Grant.objects.filter(Q(until=None) | Q(until__gt=at), portfolio=portfolio).order_by("role", "id")
    counting = people.held(portfolio).order_by("code", "since")
    here = Prefetch("grants", granted, to_attr="here")
    return (
        User.objects.filter(id__in=[r.id for r in rows])
        .order_by("username", "id")
        .prefetch_related(here, Prefetch("qualifications", counting, to_attr="counting"))
    )


def welcome(user: User) -> str:
    """Return the address where a new person chooses a password. It works once, within three days."""
    uid = urlsafe_base64_encode(force_bytes(str(user.pk)))
    return reverse("welcome", args=[uid, default_token_generator.make_token(user)])


def _one_of(given: Mapping[str, Any]) -> None:
    """Raise Refused unless the data name either a known person or a new one, and a new one has a name."""
    if ("user" in given) == ("username" in given):
        raise Refused("one_of", "Name either somebody known here or somebody new.", ("user",), status=422)
    if "username" in given and "name" not in given:
        raise Refused("required", "Somebody new has a name.", ("name",), status=422)


def _seen(request: Request, portfolio: UUID, at: datetime) -> None:
    if not policy.portfolios(request.user, SEE, at).filter(id=portfolio).exists():
        raise Http404


def _may_change(request: Request, portfolio: UUID, at: datetime) -> None:
    _seen(request, portfolio, at)
    if not policy.portfolios(request.user, CHANGE, at).filter(id=portfolio).exists():
        raise PermissionDenied
