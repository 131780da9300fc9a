"""One fleet for a file: what a test leaves in it is rolled back with the test."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests import kept
from tests.cast import Fleet, make_fleet


@pytest.fixture(scope="module")
def fleet(django_db_setup: Any, django_db_blocker: Any) -> Iterator[Fleet]:
    """Alder Terrace."""
    with kept.made_for_a_file(django_db_blocker, make_fleet) as made:
        yield made
