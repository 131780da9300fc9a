"""Who sees which page: their own, nobody else's, and nothing without signing in."""

import re
from collections.abc import Callable
from uuid import UUID, uuid4

import pytest
from django.test import Client

from fleet.accounts.models import Grant
from fleet.portfolio.models import Boiler
from tests.cast import DAY, NOW, Fleet
from tests.stories import story
from tests.web.conftest import SetClock, SignIn

pytestmark = pytest.mark.django_db

PAGES: dict[str, Callable[[UUID, UUID], str]] = {
    "board": lambda boiler, visit: "/",
    "rows": lambda boiler, visit: "/board/rows/",
    "alerts": lambda boiler, visit: "/alerts/",
    "wall": lambda boiler, visit: "/wall/",
    "deficiencies": lambda boiler, visit: "/deficiencies/",
    "jobs": lambda boiler, visit: "/jobs/",
    "register": lambda boiler, visit: "/register/",
    "register-boiler": lambda boiler, visit: f"/register/boilers/{boiler}/",
    "calculator": lambda boiler, visit: "/calculator/",
    "calculation": lambda boiler, visit: "/calculator/ladder/",
    "sources": lambda boiler, visit: "/sources/",
    "boiler": lambda boiler, visit: f"/boilers/{boiler}/",
    "visit": lambda boiler, visit: f"/visits/{visit}/",
}
THINGS = ("boiler", "visit", "register-boiler")


@story
def flushed(fleet: Fleet) -> None:
    """Yesterday."""
    fleet.post(fleet.flushed(NOW - DAY))


@pytest.fixture
def addresses(flushed: Fleet) -> dict[str, str]:
    visit = flushed.flushed(NOW - DAY)
    return {name: address(visit.boiler, visit.id) for name, address in PAGES.items()}


def without_mark(page: bytes) -> bytes:
    """The page without the form's mark against forgery, which is another one each time."""
    return re.sub(rb'name="csrfmiddlewaretoken" value="\w+"', b"", page)


@pytest.mark.parametrize("name", PAGES)
def test_without_signing_in_a_page_leads_to_the_sign_in_page(name: str, addresses: dict[str, str]) -> None:
    response = Client().get(addresses[name])
    assert (response.status_code, response["Location"]) == (302, f"/sign-in/?next={addresses[name]}")


@pytest.mark.parametrize("name", PAGES)
def test_ones_own_pages_are_there(name: str, addresses: dict[str, str], rosa: Client) -> None:
    assert rosa.get(addresses[name]).status_code == 200


@pytest.mark.parametrize("name", THINGS)
def test_foreign_and_unknown_things_answer_alike(
    name: str, addresses: dict[str, str], fleet: Fleet, sign_in: SignIn, clock: SetClock
) -> None:
    olga = sign_in(fleet.outsider)
    foreign, unknown = olga.get(addresses[name]), olga.get(PAGES[name](uuid4(), uuid4()))
    assert (foreign.status_code, unknown.status_code) == (404, 404)
    assert without_mark(foreign.content) == without_mark(unknown.content)


@pytest.mark.parametrize("name", ["board", "rows", "alerts"])
def test_lists_show_an_outsider_nothing(
    name: str, addresses: dict[str, str], fleet: Fleet, sign_in: SignIn, clock: SetClock
) -> None:
    body = sign_in(fleet.outsider).get(addresses[name]).content.decode()
    assert "Alder Terrace" not in body


def test_a_person_without_grants_is_told_what_to_do(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    body = sign_in(fleet.outsider).get("/").content.decode()
    assert "Ask the manager of the" in body


def test_a_grant_that_has_ended_opens_nothing(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    Grant.objects.filter(user=fleet.technician).update(until=NOW)
    boiler = fleet.bench().boiler
    assert sign_in(fleet.technician).get(f"/boilers/{boiler.id}/").status_code == 404


def test_the_office_sees_the_boiler_but_not_what_was_done(
    fleet: Fleet, addresses: dict[str, str], sign_in: SignIn, clock: SetClock
) -> None:
    Grant.objects.create(user=fleet.outsider, portfolio=fleet.portfolio, role="office")
    office = sign_in(fleet.outsider)
    assert "/visits/" not in office.get(addresses["boiler"]).content.decode()
    assert office.get(addresses["visit"]).status_code == 404


def test_a_grant_for_one_building_opens_only_that_one(fleet: Fleet, sign_in: SignIn, clock: SetClock) -> None:
    boiler = Boiler.objects.first()
    assert boiler is not None
    Grant.objects.create(user=fleet.outsider, portfolio=fleet.portfolio, role="manager", building=boiler.building)
    assert sign_in(fleet.outsider).get(f"/boilers/{boiler.id}/").status_code == 200


def test_a_refresh_after_the_session_ended_is_refused_and_not_led_elsewhere() -> None:
    assert Client().get("/board/rows/", headers={"HX-Request": "true"}).status_code == 401


@pytest.mark.parametrize("name", PAGES)
def test_pages_are_only_read(name: str, addresses: dict[str, str], rosa: Client) -> None:
    assert rosa.post(addresses[name]).status_code == 405
