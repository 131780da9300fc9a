"""One fleet for a file: what a test leaves in it is rolled back with the test."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction

from tests.cast import Fleet, make_fleet


@pytest.fixture(scope="module")
def fleet(django_db_setup: Any, django_db_blocker: Any) -> Iterator[Fleet]:
    """Alder Terrace."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield make_fleet()
        transaction.set_rollback(True)
