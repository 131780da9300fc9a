"""Buildings, boilers, devices and people are found from every page, and only those that one may see."""

from typing import Any

import pytest
from django.test import Client

from fleet.portfolio.models import Device, Fitting, Position
from tests.cast import DAY, NOW, Fleet, make_person
from tests.web.conftest import SetClock, SignIn

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(fleet: Fleet, clock: SetClock, sign_in: SignIn) -> Client:
    position = Position.objects.get(id=fleet.bench().places["valve"])
    before = Fitting.objects.filter(position=position, device__isnull=False).first()
    assert before is not None
    assert before.device is not None
    device = Device.objects.create(
        portfolio=fleet.portfolio, kind=before.device.kind, attributes={"serial": "VX-20771"}
    )
    Fitting.objects.create(
        portfolio=fleet.portfolio, position=position, device=device, since=NOW - DAY, posted_at=NOW - DAY
    )
    return sign_in(make_person("mona", fleet.portfolio, "manager"))


def found(client: Client, words: str) -> str:
    return " ".join(client.get("/find/", {"q": words}).content.decode().split())


@pytest.mark.parametrize(
    ("words", "link"),
    [
        ("alder", "/buildings/"),
        ("ALD12", "/buildings/"),
        ("terrace boiler", "/boilers/"),
        ("20771", "VX-20771"),
        ("vx-2077", "VX-20771"),
        ("rosa", "/account/people/"),
    ],
)
def test_a_part_of_what_somebody_remembers_is_enough(manager: Client, words: str, link: str) -> None:
    assert link in found(manager, words)


@pytest.mark.parametrize("words", ["maple", "alder maple", "%", "a"])
def test_what_is_not_there_is_said_so(manager: Client, words: str) -> None:
    assert "Nothing that you may see has all of these words." in found(manager, words)


def test_without_words_nothing_is_said(manager: Client) -> None:
    assert "Nothing" not in found(manager, "")


@pytest.mark.parametrize(("role", "sees"), [("caretaker", False), ("technician", False), ("office", True)])
def test_people_are_found_by_who_may_see_them(
    fleet: Fleet, clock: SetClock, sign_in: SignIn, role: str, sees: bool
) -> None:
    page = found(sign_in(make_person("otto", fleet.portfolio, role)), "rosa")
    assert ("/account/people/" in page) is sees


def test_a_stranger_finds_nothing(fleet: Fleet, manager: Client, sign_in: SignIn) -> None:
    for words in ("alder", "20771", "rosa", "boiler"):
        assert "Nothing that you may see" in found(sign_in(fleet.outsider), words)


def test_it_costs_the_same_however_much_there_is(manager: Client, django_assert_num_queries: Any) -> None:
    manager.get("/find/", {"q": "alder"})
    with django_assert_num_queries(6):  # session, person, and one of each kind
        manager.get("/find/", {"q": "alder"})
