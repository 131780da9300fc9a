"""Fixtures of all tests."""

from typing import Any

import pytest
from django.conf import settings

from tests.cast import Fleet, make_fleet


def pytest_configure() -> None:
    """Signing in is not what these tests prove slowly: a cheap hash for their people's passwords."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def fleet(db: Any) -> Fleet:
    """Larkfield Homes in a database of this test's own."""
    return make_fleet()
