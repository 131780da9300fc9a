"""The people of a portfolio: who is seen by whom, roles given and taken, qualifications by whose word."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from fleet import pipeline
from fleet.accounts import people
from fleet.accounts.models import Grant, Qualification, User
from fleet.board.models import Change
from fleet.portfolio.models import Portfolio
from tests.api.phone import Phone, told
from tests.cast import DAY, NOW, Fleet, make_person, standing

HOUR = timedelta(hours=1)


@pytest.fixture
def manager(fleet: Fleet, db: Any) -> User:
    return make_person("ines", fleet.portfolio, "manager")


@pytest.fixture
def ines(manager: User) -> Phone:
    return Phone.of(manager)


@pytest.fixture
def owner(fleet: Fleet, db: Any) -> Phone:
    return Phone.of(make_person("ruth", fleet.portfolio, "owner"))


def place(fleet: Fleet, rest: str = "people/") -> str:
    return f"/api/v1/portfolios/{fleet.portfolio.id}/{rest}"


def give(phone: Phone, fleet: Fleet, **more: Any) -> Any:
    return phone.send("POST", place(fleet), {"username": "mira", "name": "Mira Castell", "role": "caretaker", **more})


def test_everybody_with_a_role_is_listed_with_what_they_are_qualified_for(fleet: Fleet, ines: Phone) -> None:
    listed = {p["username"]: p for p in ines.get(place(fleet)).json()["items"]}
    assert listed.keys() == {"rosa", "bram", "ines"}
    assert [g["role"] for g in listed["rosa"]["grants"]] == ["technician"]
    assert [(q["code"], q["everywhere"]) for q in listed["rosa"]["qualifications"]] == [
        ("backflow_tester", True),
        ("gas_train", True),
        ("operator", True),
        ("technician", True),
    ]


@pytest.mark.parametrize(("until", "there"), [(-HOUR, False), (timedelta(), False), (HOUR, True)])
def test_a_role_that_has_ended_is_not_listed(until: timedelta, there: bool, fleet: Fleet, ines: Phone) -> None:
    Grant.objects.filter(user=fleet.caretaker).update(until=NOW + until)
    assert ("bram" in ines.get(place(fleet)).content.decode()) == there


def test_somebody_new_is_welcomed_once_and_signs_in_with_a_password_of_their_own(fleet: Fleet, ines: Phone) -> None:
    answer = give(ines, fleet)
    assert (answer.status_code, answer["Cache-Control"]) == (201, "no-store")
    browser, address = Client(), answer.json()["welcome"]
    form = browser.get(address, follow=True)
    chosen = {"new_password1": "quiet-boiler-71", "new_password2": "quiet-boiler-71"}
    assert browser.post(form.redirect_chain[-1][0], chosen)["Location"] == "/sign-in/"
    assert Client().login(username="mira", password="quiet-boiler-71")
    assert "no longer valid" in Client().get(address).content.decode()


def test_somebody_known_here_gets_another_role(fleet: Fleet, ines: Phone) -> None:
    house = fleet.bench().boiler.building_id
    sent = {
        "user": str(fleet.caretaker.id),
        "role": "technician",
        "building": str(house),
        "until": "2026-02-01T00:00:00Z",
    }
    answer = ines.send("POST", place(fleet), sent).json()
    assert answer["role"] == "technician"
    assert answer["building"] == str(house)
    assert answer["welcome"] is None


@pytest.mark.parametrize(
    ("more", "status", "fault"),
    [
        ({"role": "janitor"}, 400, ("invalid_choice", "/role")),
        ({"username": "rosa"}, 409, ("taken", "/username")),
        ({"username": "ROSA"}, 400, ("invalid", "/username")),
        ({"until": "2026-01-12T13:59:59Z"}, 422, ("past", "/until")),
        ({"building": "0f0e0d0c-0b0a-4908-8706-050403020100"}, 422, ("unknown_building", "/building")),
        ({"user": "0f0e0d0c-0b0a-4908-8706-050403020100"}, 422, ("one_of", "/user")),
    ],
)
def test_what_is_refused(more: Any, status: int, fault: tuple[str, str], fleet: Fleet, ines: Phone) -> None:
    answer = give(ines, fleet, **more)
    assert (answer.status_code, told(answer)) == (status, [fault])
    assert not User.objects.filter(username="mira").exists()


def test_nobody_of_another_portfolio_is_found_by_an_id(fleet: Fleet, ines: Phone) -> None:
    answer = ines.send("POST", place(fleet), {"user": str(fleet.outsider.id), "role": "caretaker"})
    assert (answer.status_code, told(answer)) == (422, [("unknown_person", "/user")])


@pytest.mark.parametrize("role", people.ROLES)
def test_a_manager_gives_the_roles_of_the_field_and_an_owner_all(
    role: str, fleet: Fleet, ines: Phone, owner: Phone
) -> None:
    assert give(ines, fleet, role=role).status_code == (201 if role in people.MANAGED_ROLES else 403)
    assert give(owner, fleet, role=role, username="paul").status_code == 201


def test_a_role_is_taken_back_at_once_and_stays_taken(fleet: Fleet, ines: Phone) -> None:
    grant = Grant.objects.get(user=fleet.caretaker)
    bram, ended = Phone.of(fleet.caretaker), place(fleet, f"grants/{grant.id}/end/")
    assert ines.send("POST", ended).json()["until"] == "2026-01-12T14:00:00Z"
    assert ines.send("POST", ended).status_code == 200
    assert bram.get("/api/v1/boilers/").json()["items"] == []
    assert Change.objects.filter(kind="people.ended").count() == 1


def test_a_manager_takes_no_managers_role(fleet: Fleet, ines: Phone, manager: User) -> None:
    grant = Grant.objects.get(user=manager)
    assert ines.send("POST", place(fleet, f"grants/{grant.id}/end/")).status_code == 403


def qualified(phone: Phone, fleet: Fleet, person: User, **more: Any) -> Any:
    sent = {"code": "technician", "since": "2024-01-01T00:00:00Z", **more}
    return phone.send("POST", place(fleet, f"people/{person.id}/qualifications/"), sent)


def test_what_somebody_did_is_judged_again_by_what_they_are_qualified_for(fleet: Fleet, ines: Phone) -> None:
    tomas = make_person("tomas", fleet.portfolio, "technician")
    visit = fleet.bench().compose_visit("annual_service", NOW - DAY, [tomas.id], fleet.serviced(NOW - DAY).entries)
    pipeline.post_visits([visit], by=tomas, at=NOW - DAY)
    before = standing(fleet.bench())
    assert qualified(ines, fleet, tomas).status_code == 201
    pipeline.sweep(at=NOW)
    assert (before, standing(fleet.bench())) == ("not_surveyed", "clear")


def test_one_portfolios_word_counts_in_its_own_buildings_only(fleet: Fleet, ines: Phone) -> None:
    tomas = make_person("tomas", fleet.portfolio, "technician")
    qualified(ines, fleet, tomas)
    other = Portfolio.objects.create(ref="BRICKYARD", name="Brickyard Row Homes")
    assert (
        people.qualification_codes_at(fleet.portfolio.id, tomas.id, NOW),
        people.qualification_codes_at(other.id, tomas.id, NOW),
    ) == (
        {"technician"},
        set(),
    )


def test_nobody_vouches_for_themselves(fleet: Fleet, ines: Phone, manager: User) -> None:
    assert qualified(ines, fleet, manager).status_code == 403
    assert not Qualification.objects.filter(user=manager).exists()


def test_a_qualification_ends_after_it_begins(fleet: Fleet, ines: Phone) -> None:
    answer = qualified(ines, fleet, fleet.caretaker, until="2024-01-01T00:00:00Z")
    assert (answer.status_code, told(answer)) == (422, [("backwards", "/until")])


@pytest.mark.parametrize(("role", "status"), [("dispatcher", 403), ("office", 403), ("technician", 404)])
def test_who_may_not_change_people_does_not(role: str, status: int, fleet: Fleet, db: Any) -> None:
    phone = Phone.of(make_person("pat", fleet.portfolio, role))
    assert give(phone, fleet).status_code == status
