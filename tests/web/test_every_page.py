"""In a real browser: every page of the site by keyboard alone, enlarged, spaced, on paper, in every theme and width."""

from typing import Any

import pytest
from django.contrib.auth.models import AnonymousUser
from django.test import Client, RequestFactory
from playwright.sync_api import Browser, Page

from fleet.web.urls import urlpatterns
from tests.web.screens import ACTS, FILES, PARTS, Town, furnish, routes
from tests.web.walk import ASKED, AXE, COLOURS, COLOURS_ONCE, SUMMED, Found, colours_of, walk

pytestmark = pytest.mark.timeout(1800)  # the first test waits for the whole walk
BEFORE = {"sign-in", "welcome"}  # nobody is signed in there


@pytest.fixture(scope="module")
def looked(django_db_setup: Any, django_db_blocker: Any, live_server: Any, one_chromium: Browser) -> Found:
    """What a walk through all of it found; the town itself is gone by the end of the first test."""
    found = Found()
    with django_db_blocker.unblock():
        town = furnish()
        for names, client in ((town.addresses.keys() - BEFORE, signed_in(town)), (BEFORE, Client())):
            context = one_chromium.new_context()
            cookies = [{"name": n, "value": c.value, "url": live_server.url} for n, c in client.cookies.items()]
            context.add_cookies(cookies)  # type: ignore[arg-type]
            walk_all(
                context.new_page(), {name: live_server.url + town.addresses[name] for name in sorted(names)}, found
            )
            context.close()
    print("\nWalked: " + ", ".join(f"{count:,} {what}" for what, count in found.counted.items()))
    return found


def signed_in(town: Town) -> Client:
    client = Client()
    client.force_login(town.manager)
    return client


def walk_all(page: Page, urls: dict[str, str], found: Found) -> None:
    """One after the other in one tab: to begin a new one takes as long as to load a page."""
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    for name, url in urls.items():
        complaints.clear()
        walk(page, name, url, found)
        found.note("console", name, [told for told in complaints if name != "no such page"])


@pytest.mark.parametrize("check", ["keyboard", "paper", "enlarged", "spaced", "axe", "console"])
def test_every_page_is_for_everybody(check: str, looked: Found) -> None:
    assert looked.wrong[check] == []
    assert looked.counted["looks"] == 4 * looked.counted["pages"] > 100
    assert all(len(stylings) > 100 for stylings in looked.judged_stylings.values())


def test_every_route_is_walked_or_is_no_page(looked: Found) -> None:
    shown = looked.names & routes()
    assert (routes() - shown - ACTS - FILES - PARTS, shown & (ACTS | FILES | PARTS)) == (set(), set())


FAINT = """<html lang="en"><title>x</title><main style="background: rgb(250 250 250)"><h1>x</h1>
<p style="color: hsl(0.5turn 20% 70%)">faint <b style="background: rgba(0, 0, 0, .1)">or not</b></p>
<p style="color: #333">plain</p></main>"""


def test_colours_that_are_read_once_are_judged_as_if_read_each_time(browser: Browser) -> None:
    page = browser.new_page()
    page.set_content(FAINT)
    page.evaluate(AXE.removesuffix(COLOURS_ONCE))
    asked = f"options => axe.run(document, options).then({SUMMED})"
    each_time = page.evaluate(asked, COLOURS)
    page.evaluate(COLOURS_ONCE)
    once, again = (page.evaluate(asked, COLOURS) for _ in range(2))
    assert len(each_time["faults"]) == 2
    assert each_time == once == again


DARK = """<html lang="en"><title>x</title><style>
  @media (prefers-color-scheme: dark) { .note { color: #444; } main { background: #333; } .plain { color: #eee; } }
</style><main><h1 class="plain">x</h1><p class="note">a note</p><p class="note">another</p></main></html>"""


def test_a_styling_is_judged_once_in_a_theme_and_again_on_another_ground(browser: Browser) -> None:
    page, found = browser.new_page(), Found()
    page.set_content(DARK)
    page.evaluate(ASKED)
    page.evaluate(AXE)
    assert colours_of(page, found, "light") == []
    page.emulate_media(color_scheme="dark")
    (faint,) = colours_of(page, found, "dark")  # two notes of one styling are one
    assert "color-contrast" in faint
    assert colours_of(page, found, "dark") == []
    page.evaluate("document.querySelector('main').style.background = '#222'")
    assert len(colours_of(page, found, "dark")) == 1
    page.evaluate("document.querySelectorAll('.note').forEach(note => { note.style.color = '#555' })")
    assert len(colours_of(page, found, "dark")) == 1
    judged = len(found.judged_stylings["dark"])
    page.evaluate("document.querySelector('h1').style.opacity = '.9'")
    colours_of(page, found, "dark")
    assert len(found.judged_stylings["dark"]) == judged + 1


@pytest.mark.parametrize("name", sorted(ACTS))
def test_what_is_said_to_be_no_page_shows_none(name: str, rf: RequestFactory) -> None:
    (route,) = [route for route in urlpatterns if route.name == name]
    given = dict.fromkeys(route.pattern.converters, "x")
    request = rf.get("/")
    request.user = AnonymousUser()
    assert route.callback(request, **given).status_code == 405
