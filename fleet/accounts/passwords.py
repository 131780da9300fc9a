"""Passwords: which are refused beside the short and the common ones, and which open nothing on a lasting site."""

import re
import secrets
from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from fleet.accounts.installation import is_demonstration, is_known_password
from fleet.deployment import KNOWN_VALUES

MIN_OTHER_CHARACTERS = 4  # letters and digits that a password has beside the person's names
MIN_NAME_LENGTH = 3  # a shorter name is part of many words
_OTHER_THAN_TEXT = re.compile(r"[\W_]+")


class SiteBackend(ModelBackend):
    """Django's check of user name and password, which outside the demonstration takes none that it prints."""

    def authenticate(
        self, request: HttpRequest | None, username: str | None = None, password: str | None = None, **kwargs: object
    ) -> Any:
        """Return the user, or None. A known password is checked like a wrong one, which takes as long."""
        if password and is_known_password(password) and not is_demonstration():
            password = secrets.token_urlsafe()  # not the known one with something added: a hash may ignore that
        return super().authenticate(request, username=username, password=password, **kwargs)


class OwnNameValidator:
    """Refuses a password that is made of the person's own names, however often repeated, and little else."""

    def validate(self, password: str, user: object = None) -> None:
        """Raise ValidationError where hardly anything is left without the names."""
        rest = password.casefold()
        for name in _names_of(user):
            rest = rest.replace(name, "")
        if rest != password.casefold() and len(_OTHER_THAN_TEXT.sub("", rest)) < MIN_OTHER_CHARACTERS:
            raise ValidationError("This password is little more than your own name.", code="password_is_name")

    def get_help_text(self) -> str:
        """Return the rule for a form."""
        return "A password cannot be made of your own name."


class KnownPasswordValidator:
    """Refuses the passwords that the demonstration prints."""

    def validate(self, password: str, user: object = None) -> None:
        """Raise ValidationError for a password that holds a known value."""
        if any(value in password.casefold() for value in KNOWN_VALUES):
            raise ValidationError("This password is known from the demonstration.", code="password_is_known")

    def get_help_text(self) -> str:
        """Return the rule for a form."""
        return "A password of the demonstration cannot be used."


def _names_of(user: object) -> list[str]:
    """Return the names of a person in small letters, the longest first."""
    texts = [str(getattr(user, field, "") or "") for field in ("username", "first_name", "last_name", "email")]
    words = {part for text in texts for part in (text, *_OTHER_THAN_TEXT.split(text))}
    return sorted({word.casefold() for word in words if len(word) >= MIN_NAME_LENGTH}, key=len, reverse=True)
