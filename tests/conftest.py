"""Fixtures of all tests."""

import gc
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.core.cache import cache
from django.test import TransactionTestCase
from hypothesis import settings as hypothesis
from whitenoise.middleware import WhiteNoiseMiddleware

from tests import kept
from tests.cast import Fleet
from tests.stories import fleet_for

# A busy machine takes its time over an example: what is slow is measured elsewhere, by tests that say so.
# A push tries half as many as the library would by itself, which are new ones each time; `thorough` ten times as many.
hypothesis.register_profile("unhurried", deadline=None, max_examples=50)
hypothesis.load_profile("unhurried")
hypothesis.register_profile("thorough", max_examples=500, deadline=None)  # --hypothesis-profile=thorough


def pytest_addoption(parser: pytest.Parser) -> None:
    """How much of what takes minutes to run."""
    parser.addoption("--load", choices=("small", "full"), default="small", help="full: also what only measures")
    parser.addoption("--flips", action="store_true", help="also change every cell of findings.csv, one at a time")
    parser.addoption("--fuzz-cases", type=int, default=300, help="how many generated requests to send to the API")
    parser.addoption("--moments", type=int, default=5_000, help="at how many random moments to ask what is clear")
    parser.addoption("--order-examples", type=int, default=12, help="how many orders of posts to try")


def pytest_configure(config: pytest.Config) -> None:
    """Signing in is not what these tests prove slowly: a cheap hash for their people's passwords."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # The clock of many tests stands still: what one has counted must not stop the next. Emptied before each.
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    config.addinivalue_line("markers", "full: takes minutes and measures; runs with --load full")
    config.addinivalue_line("markers", "flips: changes every cell of findings.csv, one at a time; runs with --flips")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what only measures, unless it is asked for."""
    unasked = set() if config.getoption("load") == "full" else {"full"}
    unasked |= set() if config.getoption("flips") else {"flips"}
    left_out = [item for item in items if unasked & {mark.name for mark in item.iter_markers()}]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if not unasked & {mark.name for mark in item.iter_markers()}]


def pytest_collection_finish() -> None:
    """Looking for garbage took a fifth of the run's time: what is loaded by now stays, the rest is looked at seldom."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(200_000, 10, 10)
    gc.enable()  # off since tests/servers.py was loaded


@pytest.fixture(scope="session", autouse=True)
def quickly_emptied() -> Iterator[None]:
    """Behind a test that commits the database is emptied row by row."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", lambda _: kept.empty())
        yield


@pytest.fixture(scope="session", autouse=True)
def static_files_listed_once() -> Iterator[None]:
    """Each test client starts the middleware anew, which looks up every static file; they are those of the first."""
    listed = WhiteNoiseMiddleware(lambda request: request).files
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WhiteNoiseMiddleware, "add_files_from_finders", lambda self: self.files.update(listed))
        yield


@pytest.fixture(autouse=True)
def emptied() -> None:
    """Nothing is counted yet."""
    cache.clear()


@pytest.fixture
def fleet(db: Any, request: pytest.FixtureRequest) -> Fleet:
    """Sorrelgate Homes in a database of this test's own, after the stories that it asks for."""
    return fleet_for(request)
