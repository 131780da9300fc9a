"""Checking passwords: those that the demonstration prints open nothing on a lasting site."""

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from fleet.accounts.installation import is_demonstration, is_known_password


class SiteBackend(ModelBackend):
    """Django's check of user name and password, which outside the demonstration takes none that it prints."""

    def authenticate(
        self, request: HttpRequest | None, username: str | None = None, password: str | None = None, **kwargs: Any
    ) -> Any:
        """Return the user, or None. A known password is checked like a wrong one, which takes as long."""
        if password and is_known_password(password) and not is_demonstration():
            password += "\x00"
        return super().authenticate(request, username=username, password=password, **kwargs)


class KnownPasswordValidator:
    """Refuses the passwords that the demonstration prints."""

    def validate(self, password: str, user: Any = None) -> None:
        """Raise ValidationError for one of them."""
        if is_known_password(password):
            raise ValidationError("This password is printed by the demonstration: everybody knows it.", "known")

    def get_help_text(self) -> str:
        """Return the rule in a sentence."""
        return "Your password can't be one that the demonstration prints."
