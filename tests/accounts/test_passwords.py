"""Passwords made of the person's own name, and those that the demonstration prints, are refused."""

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from fleet.accounts.models import User
from fleet.accounts.passwords import OwnNameValidator
from fleet.deployment import KNOWN_VALUES

NAMED = User(username="rosadelgado", first_name="Rosa", last_name="Delgado-Ruiz", email="rosa@boilers.example")


def codes_of(password: str, user: User = NAMED) -> set[str]:
    try:
        validate_password(password, user)
    except ValidationError as error:
        return {str(each.code) for each in error.error_list}
    return set()


@pytest.mark.parametrize(
    ("password", "code"),
    [
        ("rosadelgadorosadelgado", "password_is_name"),
        ("RosaDelgadoROSADELGADO", "password_is_name"),
        ("rosadelgado-rosadelgado", "password_is_name"),
        ("rosarosarosa", "password_is_name"),
        ("Rosa Delgado", "password_is_name"),
        ("delgado.ruiz.rosa", "password_is_name"),
        ("rosadelgado123", "password_is_name"),
        ("rosadelgado1234", ""),
        ("rosadelgado and a kettle", ""),
        ("a kettle and a lamp", ""),
        *((value, "password_is_known") for value in KNOWN_VALUES),
    ],
)
def test_a_password_needs_something_that_is_not_ones_name(password: str, code: str) -> None:
    assert codes_of(password) - {"password_too_short"} == ({code} if code else set())


def test_the_name_of_somebody_with_two_letters_is_no_hindrance() -> None:
    OwnNameValidator().validate("an-an-an-an-an", User(username="an"))


def test_without_a_person_nothing_is_a_name() -> None:
    OwnNameValidator().validate("rosadelgadorosadelgado", None)
