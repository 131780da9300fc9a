"""Endpoints of one's own addresses and choices: where and when one is told."""

from dataclasses import asdict
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.strict import StrictSerializer, TextField, validate_body
from api.keys import NO_STORE_HEADERS
from api.terms import WholeField
from fleet.accounts.requests import user_of
from fleet.notices import addresses
from fleet.notices.channels.registry import channels_in_use, push_public_key
from fleet.notices.digests import DEFAULT_HOUR
from fleet.notices.models import NoticeChoices


class NewDestinationSerializer(StrictSerializer):
    """An address to add. `channel` is one that this site has (`listDestinations` names them)."""

    channel = TextField(max_length=32)
    address = TextField(max_length=2000)
    label = TextField(max_length=100, required=False, allow_blank=True, default="")  # type: ignore[assignment]


class DestinationSerializer(serializers.Serializer[object]):
    """One's own address. Used once it is confirmed, in the order listed."""

    id = serializers.UUIDField()
    channel = serializers.CharField()
    address = serializers.CharField()
    label = serializers.CharField(allow_blank=True)  # type: ignore[assignment]
    confirmed_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    failing_since = serializers.DateTimeField(allow_null=True)
    last_reached_at = serializers.DateTimeField(source="told_at", allow_null=True)


class MadeDestinationSerializer(DestinationSerializer):
    """An address with the secret that signs what is sent there; empty where nothing is signed."""

    secret = serializers.CharField(allow_blank=True)


class OwnDestinationsSerializer(serializers.Serializer[object]):
    """One's own addresses, the channels that this site has, and the key that a browser subscribes with."""

    channels = serializers.ListField(child=serializers.CharField())
    push_public_key = serializers.CharField(
        allow_blank=True, help_text="For web push: a point of P-256 in base64url (RFC 8292); empty without web push."
    )
    destinations = DestinationSerializer(many=True)


class ClockField(serializers.TimeField):
    """A time of day as HH:MM, or null."""


class ChoicesSerializer(StrictSerializer):
    """When one is told. Danger, a hold and a building without heat always get through."""

    quiet_from = ClockField(allow_null=True, format="%H:%M")
    quiet_until = ClockField(allow_null=True, format="%H:%M")
    zone = TextField(max_length=64, allow_blank=True, help_text="Empty: that of the building.")
    digest = serializers.ChoiceField(choices=addresses.DIGEST_KINDS)
    digest_hour = WholeField()
    says_nothing_new = serializers.BooleanField()
    single = serializers.BooleanField()


class DestinationListEndpoint(APIView):
    """One's own addresses."""

    @extend_schema(
        operation_id="listDestinations", responses={200: OwnDestinationsSerializer, **problem_responses(401)}
    )
    def get(self, request: Request) -> Response:
        """Return one's own addresses in the order in which they are tried, without their secrets."""
        rows = addresses.addresses_of(user_of(request))
        body = {
            "channels": sorted(channels_in_use()),
            "push_public_key": push_public_key(),
            "destinations": rows,
        }
        return Response(OwnDestinationsSerializer(body).data)

    @extend_schema(
        operation_id="addDestination",
        request=NewDestinationSerializer,
        responses={201: MadeDestinationSerializer, **problem_responses(400, 401, 403, 409, 413, 415, 422, 503)},
    )
    def post(self, request: Request) -> Response:
        """Add an address. A message goes there; it is used once that message was answered. The secret is shown once."""
        data = validate_body(request, NewDestinationSerializer)
        if data["channel"] != "web_push":  # a lost phone's key adds no address elsewhere
            _require_session(request)
        new = addresses.add_address(user=user_of(request), channels=channels_in_use(), at=timezone.now(), **data)
        body = {**DestinationSerializer(new.destination).data, "secret": new.secret}
        location = f"/api/v1/destinations/{new.destination.id}/"
        return Response(body, status=201, headers={**NO_STORE_HEADERS, "Location": location})


class DestinationEndpoint(APIView):
    """One of one's own addresses."""

    @extend_schema(operation_id="removeDestination", responses={204: None, **problem_responses(401, 403, 404)})
    def delete(self, request: Request, destination: UUID) -> Response:
        """Remove the address. Nothing is sent there from now on."""
        _require_session(request)
        if not addresses.remove_address(destination=destination, user=user_of(request), at=timezone.now()):
            raise Http404
        return Response(status=204)


class ChangeSecretEndpoint(APIView):
    """The secret of one's own webhook."""

    @extend_schema(
        operation_id="changeDestinationSecret",
        request=None,
        responses={200: MadeDestinationSerializer, **problem_responses(401, 403, 404)},
    )
    def post(self, request: Request, destination: UUID) -> Response:
        """Make a new secret. The one before signs beside it for a day."""
        _require_session(request)
        new = addresses.change_secret(destination=destination, user=user_of(request), at=timezone.now())
        if new is None:
            raise Http404
        body = {**DestinationSerializer(new.destination).data, "secret": new.secret}
        return Response(body, headers=NO_STORE_HEADERS)


class NoticeChoicesEndpoint(APIView):
    """One's own choices."""

    @extend_schema(operation_id="getNoticeChoices", responses={200: ChoicesSerializer, **problem_responses(401)})
    def get(self, request: Request) -> Response:
        """Return what was chosen. Where nothing was, the digest follows from one's roles and is not named here."""
        user = user_of(request)
        row = addresses.choices_of(user) or NoticeChoices(user=user, digest="daily", digest_hour=DEFAULT_HOUR)
        return Response(ChoicesSerializer(row).data)

    @extend_schema(
        operation_id="keepNoticeChoices",
        request=ChoicesSerializer,
        responses={200: ChoicesSerializer, **problem_responses(400, 401, 403, 413, 415, 422, 503)},
    )
    def post(self, request: Request) -> Response:
        """Store the choices, all of them."""
        _require_session(request)
        choices = addresses.WantedChoices(**validate_body(request, ChoicesSerializer))
        addresses.keep_choices(user=user_of(request), choices=choices)
        return Response(ChoicesSerializer(asdict(choices)).data)


def _require_session(request: Request) -> None:
    """Refuse requests by key: a key lost with its device could else lead messages away."""
    if user_of(request).reach is not None:
        raise PermissionDenied
