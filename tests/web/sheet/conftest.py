"""Fixtures of the visit sheet's tests: two boilers, a phone's browser, a phone that was taken along."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext

from tests import kept
from tests.cast import Fleet
from tests.web.sheet.phone import SCREEN, SheetPhone, close_quietly
from tests.web.test_live import both_clear

TakeAlong = Callable[[], SheetPhone]


@pytest.fixture
def sorrelgate(transactional_db: Any) -> Fleet:
    """Two boilers, both clear."""
    return kept.once("two boilers, both clear today", both_clear)


@pytest.fixture
def complaints() -> list[str]:
    return []


@pytest.fixture
def context(browser: Browser, complaints: list[str]) -> Iterator[BrowserContext]:
    made = browser.new_context(viewport=SCREEN, has_touch=True)
    made.on("weberror", lambda error: complaints.append(str(error.error)))
    yield made
    close_quietly(made)
    assert complaints == []


@pytest.fixture
def take_along(sorrelgate: Fleet, live_server: Any, context: BrowserContext) -> TakeAlong:
    """Take a phone along as the technician."""
    return lambda: SheetPhone.take_along(context, sorrelgate.technician, live_server.url)
