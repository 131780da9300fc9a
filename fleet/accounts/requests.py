"""Who sent a request and its id, as the types the rest of the project asks for."""

from collections.abc import Mapping
from typing import Protocol, cast

from fleet.accounts.models import User
from fleet.records.events import Cause


class CarriesUser(Protocol):
    """A request of Django or of REST framework, with the user that a session or a key stands for."""

    @property
    def user(self) -> object:
        """Who sent it."""

    @property
    def META(self) -> Mapping[str, object]:
        """Its headers and what the middleware noted."""


def user_of(request: CarriesUser) -> User:
    """Return who sent the request. For views behind a sign-in or a key only: nobody is checked here."""
    return cast(User, request.user)


def request_id_of(request: CarriesUser) -> str:
    """Return the id by which the log names the request; "" for one that did not pass the middleware."""
    return str(request.META.get("GAUGEGLASS_REQUEST_ID", ""))


def cause_of(request: CarriesUser) -> Cause:
    """Return who sent the request and its id, for the log of changes. For views behind a sign-in or a key only."""
    return Cause(who=user_of(request).get_username(), request_id=request_id_of(request))
