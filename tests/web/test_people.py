"""The office sees on a page who has which role, who is asked and has not answered, and what became of roles."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from fleet import pipeline
from fleet.accounts.models import Grant, Qualification, User
from fleet.accounts.people import RoleWish
from fleet.portfolio.models import Portfolio
from fleet.records.events import Cause
from tests.cast import DAY, NOW, Fleet, make_person
from tests.pipeline.asking import answer
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import read

pytestmark = pytest.mark.django_db
PEOPLE = "/account/people/"


@pytest.fixture(autouse=True)
def now(clock: SetClock) -> None:
    """The pages' clock stands at NOW."""


@pytest.fixture
def owner(fleet: Fleet) -> User:
    return make_person("otis", fleet.portfolio, "owner")


@pytest.fixture
def lena(fleet: Fleet) -> User:
    person = make_person("lena", Portfolio.objects.create(ref="OTHER", name="Other Homes"), "technician", "technician")
    User.objects.filter(id=person.id).update(first_name="Lena", last_name="<Aho>")
    return person


def give(owner: User, fleet: Fleet, to: User, until: Any = None, at: Any = NOW - DAY) -> Grant:
    wish, cause = RoleWish("technician", None, until), Cause(who="otis")
    return pipeline.grant_role(
        portfolio=fleet.portfolio.id, user=to.id, new=("", ""), wish=wish, by=owner, at=at, cause=cause
    )


def history(fleet: Fleet, person: User) -> str:
    return f"{PEOPLE}{fleet.portfolio.id}/{person.id}/"


def words(client: Client, address: str) -> str:
    return " ".join(read(client, address).split())


def test_who_is_asked_is_shown_until_the_answer(fleet: Fleet, owner: User, lena: User, sign_in: SignIn) -> None:
    row, client = give(owner, fleet, lena), sign_in(owner)
    Qualification.objects.create(
        user=lena, portfolio=fleet.portfolio, code="fire_side", since=NOW - DAY, waits_since=NOW - DAY
    )
    body = words(client, PEOPLE)
    assert "<strong>Lena &lt;Aho&gt;</strong> to be technician" in body
    assert "whether they are qualified as fire side" in body
    answer(lena, "roles", row.id, accepts=True, at=NOW - DAY / 2)
    after = words(client, PEOPLE)
    assert "to be technician" not in after
    assert "qualified as fire side" in after


def test_a_longer_end_that_is_asked_is_shown_beside_the_one_that_holds(
    fleet: Fleet, owner: User, lena: User, sign_in: SignIn
) -> None:
    answer(lena, "roles", give(owner, fleet, lena, NOW + DAY).id, accepts=True, at=NOW - DAY / 2)
    give(owner, fleet, lena, NOW + 90 * DAY, at=NOW - DAY / 4)
    body = words(sign_in(owner), PEOPLE)
    assert "has it until Tue 13 Jan 2026" in body
    assert "until Sun 12 Apr 2026" in body


def test_the_history_of_a_role_says_each_step_and_by_whom(
    fleet: Fleet, owner: User, lena: User, sign_in: SignIn
) -> None:
    row = give(owner, fleet, lena)
    answer(lena, "roles", row.id, accepts=True, at=NOW - DAY / 2)
    pipeline.end_role(grant=row, by=owner, at=NOW - timedelta(hours=1), cause=Cause(who="otis"))
    body = words(sign_in(owner), history(fleet, lena))
    steps = ["</strong> ended by otis", "</strong> accepted by Lena &lt;Aho&gt;", "</strong> asked by otis"]
    assert [step for step in steps if step not in body] == []
    assert sorted(steps, key=body.index) == steps  # the newest first


@pytest.mark.parametrize(
    ("role", "status"),
    [("owner", 200), ("manager", 200), ("dispatcher", 200), ("office", 200), ("technician", 404), ("caretaker", 404)],
)
def test_only_who_sees_people_sees_the_pages(
    fleet: Fleet, lena: User, owner: User, sign_in: SignIn, role: str, status: int
) -> None:
    give(owner, fleet, lena)
    client = sign_in(make_person("reader", fleet.portfolio, role))
    assert [client.get(page).status_code for page in (PEOPLE, history(fleet, lena))] == [status] * 2
    assert ('href="/account/people/"' in read(client, "/account/")) is (status == 200)


def test_people_of_another_portfolio_and_of_a_single_building_are_not_shown(
    fleet: Fleet, owner: User, lena: User, sign_in: SignIn
) -> None:
    other = lena.grants.get().portfolio
    client = sign_in(owner)
    assert "Other Homes" not in read(client, PEOPLE)
    foreign = f"{PEOPLE}{other.id}/{lena.id}/"
    assert [client.get(page).status_code for page in (foreign, history(fleet, lena))] == [404, 404]
    Grant.objects.filter(user=owner).update(building=fleet.bench().boiler.building)
    assert client.get(PEOPLE).status_code == 404


def test_nobody_signed_out_sees_them(client: Client, fleet: Fleet, owner: User) -> None:
    for page in (PEOPLE, history(fleet, owner)):
        assert client.get(page)["Location"].startswith("/sign-in/?next=")
