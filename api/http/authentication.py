"""Authentication of devices by bearer keys. The site's own pages use the session instead."""

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from api.http.limits import check_address, count_bad_key
from fleet.accounts import keys
from fleet.accounts.models import User
from fleet.accounts.scopes import Reach


class KeyAuthentication(BaseAuthentication):
    """Reads `Authorization: Bearer gaugeglass_…`. Unknown, expired and revoked keys get the same answer."""

    def authenticate(self, request: Request) -> tuple[User, Reach] | None:
        """Return the key's owner and its reach, None where no bearer key was sent.

        Raises AuthenticationFailed for a key that is not valid, RateLimitExceeded after too many of them.
        """
        scheme, _, secret = get_authorization_header(request).decode("latin-1").partition(" ")
        if scheme.lower() != "bearer":
            return None
        at = timezone.now()
        check_address(request, at)
        user = keys.key_owner(secret.strip(), at)
        if user is None or user.reach is None:
            count_bad_key(request, at)
            raise AuthenticationFailed("This key is not valid.")
        return user, user.reach

    def authenticate_header(self, request: Request) -> str:
        """Return the scheme that a 401 names in WWW-Authenticate."""
        return "Bearer"


class KeyScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Describes key authentication in the OpenAPI document."""

    target_class = KeyAuthentication
    name = "key"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """Return the definition of an HTTP bearer scheme."""
        return {"type": "http", "scheme": "bearer"}
