"""Bearer keys for devices; the session serves the site's own pages."""

from typing import Any

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from api.limits import check_address, count_bad_key
from fleet.accounts import keys
from fleet.accounts.models import User
from fleet.accounts.scopes import Reach


class KeyAuthentication(BaseAuthentication):
    """`Authorization: Bearer gg_…`; an unknown, expired or revoked key is told nothing about which of these it is."""

    def authenticate(self, request: Request) -> tuple[User, Reach] | None:
        """Return the key's owner and how far it reaches, None where no bearer key was sent."""
        scheme, _, secret = get_authorization_header(request).decode("latin-1").partition(" ")
        if scheme.lower() != "bearer":
            return None
        at = timezone.now()
        check_address(request, at)
        user = keys.owner(secret.strip(), at)
        if user is None or user.reach is None:
            count_bad_key(request, at)
            raise AuthenticationFailed("This key is not valid.")
        return user, user.reach

    def authenticate_header(self, request: Request) -> str:
        """What a 401 asks for."""
        return "Bearer"


class KeyScheme(OpenApiAuthenticationExtension):
    """How the OpenAPI document names it."""

    target_class = KeyAuthentication
    name = "key"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        """An HTTP bearer scheme."""
        return {"type": "http", "scheme": "bearer"}
