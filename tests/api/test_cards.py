"""Cards by the API: listed without their addresses, made with the address once, ended for good."""

from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from fleet.cards.models import Card
from tests.api.phone import Phone
from tests.cast import Fleet, make_person

pytestmark = pytest.mark.django_db
CARDS = "/api/v1/cards/"


def make(phone: Phone, fleet: Fleet, key: str = "ALD12 B1", **body: Any) -> Any:
    return phone.send("POST", f"/api/v1/boilers/{fleet.bench(key).boiler.id}/cards/", body)


def path_of(address: str) -> str:
    return address.removeprefix("http://testserver")


def test_a_card_is_made_and_its_address_opens_it_until_it_is_ended(rosa: Phone, fleet: Fleet) -> None:
    made = make(rosa, fleet)
    assert (made.status_code, made["Cache-Control"]) == (201, "no-store")
    path = path_of(made.json()["address"])
    assert Client().get(path).status_code == 200
    ended = rosa.send("POST", f"{CARDS}{made.json()['id']}/revoke/", {}).json()
    assert (ended["revoked_by"], Client().get(path).status_code) == ("rosa", 404)


def test_the_list_shows_no_address_and_keeps_what_ended(rosa: Phone, fleet: Fleet) -> None:
    first = make(rosa, fleet).json()
    second = make(rosa, fleet, replaces=first["id"]).json()
    make(rosa, fleet, "ALD12 B2")
    listed = rosa.get(f"{CARDS}?boiler={first['boiler']}").json()["items"]
    assert {card["id"]: card["revoked_at"] is None for card in listed} == {first["id"]: False, second["id"]: True}
    assert len(rosa.get(CARDS).json()["items"]) == 3
    assert "address" not in rosa.get(CARDS).text


def test_a_card_in_force_is_ended_by_a_new_one_only_where_that_names_it(rosa: Phone, fleet: Fleet) -> None:
    first = make(rosa, fleet).json()
    for replaces in (None, str(uuid4())):
        refused = make(rosa, fleet, replaces=replaces)
        assert (refused.status_code, refused.json()["code"]) == (409, "card_in_force")
    assert Card.objects.get().id.hex == first["id"].replace("-", "")


@pytest.mark.parametrize(
    ("role", "sees", "makes"),
    [
        ("technician", 1, 201),
        ("dispatcher", 1, 201),
        ("manager", 1, 201),
        ("owner", 1, 201),
        ("caretaker", 0, 403),
        ("inspector", 0, 403),
        ("office", 0, 403),
    ],
)
def test_who_makes_cards(rosa: Phone, fleet: Fleet, role: str, sees: int, makes: int) -> None:
    make(rosa, fleet)
    phone = Phone.of(make_person(f"some-{role}", fleet.portfolio, role))
    assert len(phone.get(CARDS).json()["items"]) == sees
    assert make(phone, fleet, "ALD12 B2").status_code == makes


def test_to_an_outsider_there_is_no_card(rosa: Phone, fleet: Fleet) -> None:
    card, olga = make(rosa, fleet).json()["id"], Phone.of(fleet.outsider)
    assert make(olga, fleet, "ALD12 B2").status_code == 404
    assert olga.send("POST", f"{CARDS}{card}/revoke/", {}).status_code == 404


def test_a_repeat_is_told_that_the_address_was_shown_and_makes_no_second_card(rosa: Phone, fleet: Fleet) -> None:
    headers = {"Idempotency-Key": '"one-card"'}
    path = f"/api/v1/boilers/{fleet.bench().boiler.id}/cards/"
    assert [rosa.send("POST", path, {}, headers=headers).status_code for _ in range(2)] == [201, 409]
    assert Card.objects.count() == 1
