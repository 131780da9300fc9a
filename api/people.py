"""The people of a portfolio: who they are, their roles with an end, what they are qualified for by whose word."""

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
    """A role, in the whole portfolio (`building` null) or one building of it, without end or until an instant."""

    id = serializers.UUIDField()
    role = serializers.ChoiceField(choices=ROLES)
    building = serializers.UUIDField(source="building_id", allow_null=True)
    until = serializers.DateTimeField(allow_null=True)


class QualificationSerializer(serializers.Serializer[Any]):
    """What somebody is qualified for; `everywhere` where the installation vouches for it."""

    code = serializers.ChoiceField(choices=QUALIFICATIONS)
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True)
    everywhere = serializers.SerializerMethodField()

    def get_everywhere(self, row: Any) -> bool:
        """Whether it counts in every portfolio."""
        return row.portfolio_id is None


class MemberSerializer(serializers.Serializer[Any]):
    """Somebody with a role here."""

    id = serializers.UUIDField()
    username = serializers.CharField()
    name = serializers.CharField(source="get_full_name", allow_blank=True)
    grants = GrantSerializer(many=True, source="here")
    qualifications = QualificationSerializer(many=True, source="counting")


class GivenSerializer(GrantSerializer):
    """A role as it was given; `welcome` leads somebody new to choose a password, and is told this once."""

    user = serializers.UUIDField(source="user_id")
    welcome = serializers.CharField(allow_null=True, default=None)


class NewGrantSerializer(StrictSerializer):
    """A role for `user`, somebody known here, or for somebody new (`username`, `name`)."""

    user = IdField(required=False)
    username = serializers.RegexField(r"\A[a-z][a-z0-9._-]{1,39}\Z", required=False, max_length=40)
    name = TextField(max_length=120, required=False)
    role = serializers.ChoiceField(choices=ROLES)
    building = IdField(required=False)
    until = InstantField(required=False)


class NewQualificationSerializer(StrictSerializer):
    """What somebody is qualified for, from an instant on."""

    code = serializers.ChoiceField(choices=QUALIFICATIONS)
    since = InstantField()
    until = InstantField(required=False)


@described("listPeople", PLACE, codes=(400, 401, 404, 422))
class People(List):
    """The people of a portfolio."""

    item, action, order = MemberSerializer, SEE, ("username", "id")

    def found(self, request: Request, walk: Walk, **where: UUID) -> QuerySet[User]:
        """Those with a role in force; for who may see the people of the whole portfolio."""
        _seen(request, where["portfolio"], walk.now)
        return people.of_portfolio(where["portfolio"], walk.at)

    def beside(self, at: datetime) -> tuple[Any, ...]:
        """The roles themselves: one that ends by time alone moves no pulse."""
        granted = Grant.objects.filter(Q(until=None) | Q(until__gt=at), portfolio=self.kwargs["portfolio"])
        return tuple(granted.order_by("id").values_list("id", "until"))

    def shown(self, rows: Sequence[Any], walk: Walk) -> Iterable[Any]:
        """With their roles here and what counts here."""
        return with_roles(rows, self.kwargs["portfolio"], walk.at)

    @extend_schema(
        operation_id="grantRole",
        request=NewGrantSerializer,
        responses={201: GivenSerializer, **problems(400, 401, 403, 404, 409, 422, 503)},
        examples=[OpenApiExample("Somebody new", value=NEWCOMER, request_only=True)],
    )
    def post(self, request: Request, portfolio: UUID) -> Response:
        """Give somebody a role. The same role again takes on the new end."""
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
    """A role that is taken back."""

    @extend_schema(
        operation_id="endRole", request=None, responses={200: GrantSerializer, **problems(401, 403, 404, 503)}
    )
    def post(self, request: Request, portfolio: UUID, grant: UUID) -> Response:
        """End it now; what has ended stays ended."""
        at, told, user = timezone.now(), cause(request), request.user
        _may_change(request, portfolio, at)
        row = Grant.objects.select_related("user").filter(id=grant, portfolio=portfolio).first()
        if row is None:
            raise Http404
        made = retried(lambda: pipeline.end_role(grant=row, by=user, at=at, cause=told))
        return Response(GrantSerializer(made).data)


class Qualifications(APIView):
    """What somebody is qualified for, by this portfolio's word."""

    @extend_schema(
        operation_id="qualifyPerson",
        request=NewQualificationSerializer,
        responses={201: QualificationSerializer, **problems(400, 401, 403, 404, 422, 503)},
    )
    def post(self, request: Request, portfolio: UUID, person: UUID) -> Response:
        """Note it; the boilers of this portfolio that they worked on are judged again by it."""
        at, told, user = timezone.now(), cause(request), request.user
        _may_change(request, portfolio, at)
        sent = NewQualificationSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        given = {"until": None, **sent.validated_data}
        made = retried(lambda: pipeline.qualify(portfolio=portfolio, user=person, by=user, at=at, cause=told, **given))
        return Response(QualificationSerializer(made).data, status=201)


def with_roles(rows: Sequence[Any], portfolio: UUID, at: datetime) -> Iterable[Any]:
    """These people with their roles in force in a portfolio and what counts there: two queries."""
    granted = Grant.objects.filter(Q(until=None) | Q(until__gt=at), portfolio=portfolio).order_by("role", "id")
    counting = people.held(portfolio).order_by("code", "since")
    here = Prefetch("grants", granted, to_attr="here")
    return (
        User.objects.filter(id__in=[r.id for r in rows])
        .order_by("username", "id")
        .prefetch_related(here, Prefetch("qualifications", counting, to_attr="counting"))
    )


def welcome(user: User) -> str:
    """The address at which somebody new chooses a password: good once, and for three days."""
    uid = urlsafe_base64_encode(force_bytes(str(user.pk)))
    return reverse("welcome", args=[uid, default_token_generator.make_token(user)])


def _one_of(given: Mapping[str, Any]) -> None:
    """Either somebody known here or somebody new, who has a name."""
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
