"""Fixtures of the API tests: one fleet per file, a clock that stands at NOW, people with keys.

Nearly every post here is refused and leaves nothing; what an accepted one leaves is rolled back with its test.
"""

import importlib
import pkgutil
from collections.abc import Callable, Iterator
from datetime import datetime
from types import SimpleNamespace
from typing import Any

import pytest

import api
from fleet.accounts.models import User
from tests import kept
from tests.api.phone import Phone
from tests.cast import NOW, Fleet, make_fleet

SetClock = Callable[[datetime], None]
Phones = Callable[[User], Phone]
MODULES = [importlib.import_module(found.name) for found in pkgutil.walk_packages(api.__path__, "api.")]
# Every module of the API that reads the clock.
CLOCKS = [module for module in MODULES if hasattr(module, "timezone")]


@pytest.fixture(scope="module")
def fleet(django_db_setup: Any, django_db_blocker: Any) -> Iterator[Fleet]:
    """Alder Terrace, and Quarry Lane with the one siphon."""
    with kept.made_for_a_file(django_db_blocker, lambda: make_fleet("ALD12", "QUA48")) as made:
        yield made


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """The API's clock stands at NOW."""
    for module in CLOCKS:
        monkeypatch.setattr(module, "timezone", SimpleNamespace(now=lambda: NOW))


@pytest.fixture
def clock_at(monkeypatch: pytest.MonkeyPatch) -> SetClock:
    """Put the API's clock to another instant."""

    def to(at: datetime) -> None:
        for module in CLOCKS:
            monkeypatch.setattr(module, "timezone", SimpleNamespace(now=lambda: at))

    return to


@pytest.fixture
def rosa(fleet: Fleet, db: Any) -> Phone:
    """The technician's phone."""
    return Phone.of(fleet.technician)
