"""Who sent a request, as the type the rest of the project asks for."""

from typing import Protocol, cast

from fleet.accounts.models import User


class CarriesUser(Protocol):
    """A request of Django or of REST framework, with the user that a session or a key stands for."""

    @property
    def user(self) -> object:
        """Who sent it."""


def user_of(request: CarriesUser) -> User:
    """Return who sent the request. For views behind a sign-in or a key only: nobody is checked here."""
    return cast(User, request.user)
