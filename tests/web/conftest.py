"""Fixtures of the page tests: a clock that stands where it is put, somebody signed in, a browser."""

import os
from collections.abc import Callable, Iterator
from datetime import datetime
from types import SimpleNamespace

import pytest
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from fleet.accounts.models import User
from fleet.web.register import register_import_page
from fleet.web.shared import pages
from tests.cast import NOW, Fleet, make_person
from tests.servers import chromium, need

SetClock = Callable[[datetime], None]
SignIn = Callable[[User], Client]
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> SetClock:
    """Put the pages' clock, at NOW until then."""

    def put(at: datetime) -> None:
        monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: at))

    put(NOW)
    return put


@pytest.fixture
def sign_in() -> SignIn:
    """Give a client in which somebody is signed in."""

    def signed_in(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return signed_in


@pytest.fixture
def rosa(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> Client:
    """The technician of Sorrelgate Homes, signed in, on a Monday in January."""
    return sign_in(fleet.technician)


@pytest.fixture
def ines(fleet: Fleet, clock: SetClock, sign_in: SignIn, monkeypatch: pytest.MonkeyPatch) -> Client:
    """The office, signed in, on a Monday in January."""
    monkeypatch.setattr(register_import_page, "timezone", SimpleNamespace(now=lambda: NOW))
    return sign_in(make_person("ines", fleet.portfolio, "office"))


@pytest.fixture(scope="package")
def one_chromium() -> Iterator[Browser]:
    """One real browser for the files of this folder that follow each other in a process."""
    path = chromium()
    need("Chromium", path)
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as driver:
        # The browser's driver runs a loop in this thread, and tests ask the database from it: one after the other.
        patch.setitem(os.environ, "DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        started = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()


def take_session(context: BrowserContext, user: User, url: str) -> None:
    """Sign somebody in at `url` without the form: what that does is for the tests that fill it in."""
    client = Client()
    client.force_login(user)
    context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": url}])


@pytest.fixture
def browser(one_chromium: Browser) -> Iterator[Browser]:
    """A real browser in which nobody has been yet; what a test opened is closed behind it."""
    yield one_chromium
    for context in one_chromium.contexts:
        context.close()
