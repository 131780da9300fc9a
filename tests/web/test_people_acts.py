"""Managers and owners add people, give and end roles and note qualifications on pages; nobody else does."""

import re

import pytest
from django.test import Client

from fleet.accounts.models import Grant, Qualification, User
from tests.cast import NOW, Fleet, make_person
from tests.web.conftest import SetClock, SignIn

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager(fleet: Fleet, clock: SetClock, sign_in: SignIn) -> Client:
    return sign_in(make_person("mona", fleet.portfolio, "manager"))


def base(fleet: Fleet) -> str:
    return f"/account/people/{fleet.portfolio.id}/"


def page_of(fleet: Fleet, person: User) -> str:
    return f"{base(fleet)}{person.id}/"


NEW = {"name": "Mira Castell", "username": "mira.castell", "role": "caretaker", "building": "", "until": ""}


def test_a_new_person_gets_a_role_and_an_address_that_is_shown_once(fleet: Fleet, manager: Client) -> None:
    answer = manager.post(f"{base(fleet)}add/", NEW)
    page = answer.content.decode()
    address = re.search(r"http://testserver(/welcome/[^<\s]+)", page)
    assert answer.status_code == 200
    assert "no-store" in answer["Cache-Control"]
    assert address is not None
    assert "Choose" in Client().get(address[1], follow=True).content.decode()
    grant = Grant.objects.get(user__username="mira.castell")
    assert (grant.role, grant.building, grant.until) == ("caretaker", None, None)


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        ({"username": "X"}, 422, "Use 2 to 40 small letters"),
        ({"username": "rosa"}, 409, "This user name is taken."),
        ({"name": ""}, 422, "Give the person&#x27;s name."),
        ({"role": ""}, 422, "Choose a role."),
        ({"role": "owner"}, 403, "Only the owner can give or take away this role."),
        ({"until": "tomorrow"}, 422, "A day, such as 2027-01-31."),
        ({"until": "2020-01-01"}, 422, "This end is in the past."),
        ({"until": "0001-01-01"}, 422, "A day from 2000 to 2100."),
    ],
)
def test_what_is_refused_says_why_and_keeps_what_was_typed(
    fleet: Fleet, manager: Client, change: dict[str, str], status: int, fault: str
) -> None:
    answer = manager.post(f"{base(fleet)}add/", {**NEW, **change})
    page = answer.content.decode()
    assert answer.status_code == status
    assert fault in page
    assert "mira.castell" in page or "username" in change
    assert not User.objects.filter(username="mira.castell").exists()


def test_a_role_lasts_through_its_last_local_day(fleet: Fleet, manager: Client) -> None:
    house = fleet.bench().boiler.building_id
    sent = {"role": "technician", "building": str(house), "until": "2026-01-31"}
    assert manager.post(f"{page_of(fleet, fleet.caretaker)}role/", sent).status_code == 302
    grant = Grant.objects.get(user=fleet.caretaker, role="technician")
    assert grant.building_id == house
    assert grant.until is not None
    assert grant.until.isoformat() == "2026-02-01T05:00:00+00:00"  # midnight at the boilers


def test_a_role_is_ended_and_its_history_says_by_whom(fleet: Fleet, manager: Client) -> None:
    grant = Grant.objects.get(user=fleet.technician, role="technician")
    assert manager.post(f"{page_of(fleet, fleet.technician)}{grant.id}/end/").status_code == 302
    assert Grant.objects.get(id=grant.id).until == NOW
    page = " ".join(manager.get(page_of(fleet, fleet.technician)).content.decode().split())
    assert "ended by mona" in page


def test_a_qualification_counts_from_its_first_day(fleet: Fleet, manager: Client) -> None:
    sent = {"code": "fire_side", "since": "2026-01-01", "until": ""}
    assert manager.post(f"{page_of(fleet, fleet.technician)}qualification/", sent).status_code == 302
    row = Qualification.objects.get(user=fleet.technician, code="fire_side")
    assert row.since.isoformat() == "2026-01-01T05:00:00+00:00"
    assert "Fire side" in manager.get(page_of(fleet, fleet.technician)).content.decode()


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"code": "", "since": "2026-01-01"}, 422),
        ({"code": "fire_side", "since": ""}, 422),
        ({"code": "fire_side", "since": "2026-01-05", "until": "2026-01-01"}, 422),
    ],
)
def test_a_qualification_without_its_day_is_refused(
    fleet: Fleet, manager: Client, sent: dict[str, str], status: int
) -> None:
    answer = manager.post(f"{page_of(fleet, fleet.technician)}qualification/", sent)
    assert answer.status_code == status
    assert 'role="alert"' in answer.content.decode()


def test_nobody_vouches_for_himself(fleet: Fleet, manager: Client) -> None:
    mona = User.objects.get(username="mona")
    sent = {"code": "technician", "since": "2026-01-01"}
    assert manager.post(f"{page_of(fleet, mona)}qualification/", sent).status_code == 403


@pytest.mark.parametrize(("role", "status"), [("office", 403), ("dispatcher", 403), ("technician", 404)])
def test_others_see_no_forms_and_their_posts_are_refused(
    fleet: Fleet, clock: SetClock, sign_in: SignIn, role: str, status: int
) -> None:
    client = sign_in(make_person("otto", fleet.portfolio, role))
    assert client.post(f"{base(fleet)}add/", NEW).status_code == status
    assert client.get(f"{base(fleet)}new/").status_code == status
    grant = Grant.objects.get(user=fleet.technician, role="technician")
    assert client.post(f"{page_of(fleet, fleet.technician)}{grant.id}/end/").status_code == status
    assert "Give another role" not in client.get(page_of(fleet, fleet.technician)).content.decode()
    assert Grant.objects.get(id=grant.id).until is None
