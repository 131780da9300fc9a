"""Endpoints of device keys. Keys are listed without secrets; only signed-in people make and revoke them."""

from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.answers import problem_responses
from api.http.query_validation import validate_query
from api.http.strict import IdField, InstantField, StrictSerializer, TextField, validate_body
from fleet.accounts import keys, policy
from fleet.accounts.requests import user_of
from fleet.accounts.scopes import SCOPES

NO_STORE_HEADERS = {"Cache-Control": "no-store"}
NEW_KEY_EXAMPLE: dict[str, object] = {"name": "Rosa's phone", "scopes": ["read", "visits", "jobs"]}


class NewKeySerializer(StrictSerializer):
    """A key to make: the device's name, the key's scopes, an optional portfolio it is limited to, and its end."""

    name = TextField(max_length=100)
    scopes = serializers.ListField(child=TextField(max_length=16), max_length=len(SCOPES), allow_empty=False)
    portfolio = IdField(required=False)
    expires_at = InstantField(required=False, help_text="At most 400 days from now. Default: 365.")


class KeySerializer(serializers.Serializer[object]):
    """A key without its secret. `scopes` null: all its owner may do. `portfolio` null: in every portfolio."""

    id = serializers.UUIDField()
    name = serializers.CharField()
    scopes = serializers.ListField(child=serializers.ChoiceField(choices=list(SCOPES)), allow_null=True)
    portfolio = serializers.UUIDField(source="portfolio_id", allow_null=True)
    created_at = serializers.DateTimeField(allow_null=True)
    expires_at = serializers.DateTimeField()
    last_used_at = serializers.DateTimeField(allow_null=True)


class MadeKeySerializer(KeySerializer):
    """A new key with its secret."""

    secret = serializers.CharField()


class KeysQuerySerializer(StrictSerializer):
    """Whose keys: one's own, or those of a person all of whose grants the caller may change."""

    person = IdField(required=False)


class KeyListEndpoint(APIView):
    """Device keys."""

    @extend_schema(
        operation_id="listKeys",
        parameters=[KeysQuerySerializer],
        responses={200: KeySerializer(many=True), **problem_responses(400, 401, 404)},
    )
    def get(self, request: Request) -> Response:
        """Return the keys in force, the newest last, without their secrets. Secrets are not stored."""
        at = timezone.now()
        person = validate_query(request, KeysQuerySerializer).get("person", user_of(request).id)
        if person == user_of(request).id:
            return Response(KeySerializer(keys.keys_in_force(user_of(request), at), many=True).data)
        key_owner = keys.people_managed_by(user_of(request), at).filter(id=person).first()
        if key_owner is None:
            raise Http404
        return Response(KeySerializer(keys.keys_in_force(key_owner, at), many=True).data)

    @extend_schema(
        operation_id="createKey",
        request=NewKeySerializer,
        responses={201: MadeKeySerializer, **problem_responses(400, 401, 403, 404, 409, 413, 415, 422, 503)},
        examples=[OpenApiExample("A technician's phone", value=NEW_KEY_EXAMPLE, request_only=True)],
    )
    def post(self, request: Request) -> Response:
        """Make a key for one's own device. The secret is shown only in this answer."""
        at = timezone.now()
        _require_session(request)
        data = validate_body(request, NewKeySerializer)
        portfolio = data.get("portfolio")
        if portfolio and not policy.grants_for(user_of(request), "board.see", at).filter(portfolio=portfolio).exists():
            raise Http404
        with transaction.atomic():
            new_key = keys.create_key(user=user_of(request), at=at, **data)
        body = {**KeySerializer(new_key.key).data, "secret": new_key.secret}
        return Response(body, status=201, headers={**NO_STORE_HEADERS, "Location": f"/api/v1/keys/{new_key.key.id}/"})


class KeyEndpoint(APIView):
    """One key."""

    @extend_schema(operation_id="revokeKey", responses={204: None, **problem_responses(401, 403, 404)})
    def delete(self, request: Request, key: UUID) -> Response:
        """Revoke the key. It gives no access from now on. Revoking it again changes nothing."""
        _require_session(request)
        if not keys.revoke_key(key=key, by=user_of(request), at=timezone.now()):
            raise Http404
        return Response(status=204)


class RevokeKeyEndpoint(APIView):
    """Revoking a key by POST, for clients that cannot send DELETE."""

    @extend_schema(
        operation_id="revokeKeyByPost", request=None, responses={204: None, **problem_responses(401, 403, 404)}
    )
    def post(self, request: Request, key: UUID) -> Response:
        """Revoke the key, as DELETE does."""
        _require_session(request)
        if not keys.revoke_key(key=key, by=user_of(request), at=timezone.now()):
            raise Http404
        return Response(status=204)


def _require_session(request: Request) -> None:
    """Refuse requests by key: a key lost with its device could else make another one."""
    if user_of(request).reach is not None:
        raise PermissionDenied
