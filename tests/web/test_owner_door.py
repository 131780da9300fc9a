"""The first owner comes in by a link that works once; nobody else is made by it."""

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.core import signing
from django.core.management import CommandError, call_command
from django.test import Client

from fleet.accounts import owner_links
from fleet.accounts.models import Grant, GrantRecord, User
from fleet.board.models import Change
from fleet.pipeline import portfolios
from fleet.portfolio.models import Portfolio
from fleet.web.account import owner_door_page

pytestmark = pytest.mark.django_db
FORM = {
    "name": "Northgate Homes",
    "ref": "NORTH",
    "person": "Ottilie Brandt",
    "username": "ottilie",
    "password": "seven-damp-cellars",
    "again": "seven-damp-cellars",
}
AT = "/open-portfolio/"


def door(client: Client, token: str = "") -> Any:
    return client.get(f"/owner/{token or owner_links.make_token()}/", follow=True)


def test_the_link_opens_a_portfolio_signs_its_owner_in_and_leads_to_the_register(client: Client) -> None:
    page = door(client)
    assert page.status_code == 200
    assert "Open a portfolio" in page.content.decode()
    assert client.post(AT, FORM)["Location"] == "/register/"
    grant = Grant.objects.get()
    assert grant.user.username == "ottilie"
    assert grant.role == "owner"
    assert grant.portfolio.name == "Northgate Homes"
    assert grant.until is None
    assert grant.user.get_full_name() == "Ottilie Brandt"
    assert "Ottilie Brandt" in client.get("/register/").content.decode()
    assert GrantRecord.objects.get().kind == "given"
    assert Change.objects.get().sentence == "Ottilie Brandt opened the portfolio and is its owner."


def test_the_owner_can_put_a_building_on_record_and_sign_in_again(client: Client) -> None:
    door(client)
    client.post(AT, FORM)
    assert "Northgate Homes" in client.get("/register/").content.decode()
    client.post("/sign-out/")
    signed_in = client.post("/sign-in/", {"username": "ottilie", "password": FORM["password"]})
    assert signed_in.status_code == 302


def test_a_link_works_once_also_in_another_browser(client: Client) -> None:
    token = owner_links.make_token()
    other = Client()
    door(client, token)
    door(other, token)
    assert client.post(AT, FORM).status_code == 302
    late = other.post(AT, {**FORM, "ref": "SOUTH", "username": "mallory"})
    assert late.status_code == 404
    assert "no longer valid" in late.content.decode()
    assert User.objects.count() == 1
    assert "no longer valid" in door(Client(), token).content.decode()


@pytest.mark.parametrize(("age", "opens"), [(-1, True), (0, True), (1, False)])
def test_a_link_lasts_three_days(age: int, opens: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    made = 1_800_000_000
    monkeypatch.setattr(signing, "time", SimpleNamespace(time=lambda: made))
    token = owner_links.make_token()
    later = made + owner_links.LIFETIME.total_seconds() + age
    monkeypatch.setattr(signing, "time", SimpleNamespace(time=lambda: later))
    assert (owner_links.read_token(token) is not None) == opens
    assert timedelta(days=3) == owner_links.LIFETIME


@pytest.mark.parametrize(
    "token",
    ["x", "x:y:z", signing.dumps("no id", salt=owner_links.SALT), signing.dumps("a")],
    ids=["no token", "no signature", "no id", "of something else"],
)
def test_a_forged_link_opens_nothing(token: str, client: Client) -> None:
    assert "no longer valid" in door(client, token).content.decode()
    assert not Session.objects.exists()  # else anybody could fill the database
    assert client.post(AT, FORM).status_code == 404
    assert not Portfolio.objects.exists()


def test_without_a_link_there_is_no_form(client: Client) -> None:
    assert (client.get(AT).status_code, client.post(AT, FORM).status_code) == (404, 404)


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("username", "Ottilie Brandt", "Use 2 to 40 small letters"),
        ("password", "short", "too short"),
        ("password", "password1234", "too common"),
        ("password", "copper-ladle-42", "known from the demonstration"),
        ("again", "another one entirely", "not the same"),
        ("name", " ", "required"),
        ("ref", "", "required"),
        ("person", "x" * 121, "at most 120"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_made(field: str, value: str, says: str, client: Client) -> None:
    door(client)
    more = {"again": value} if field == "password" else {}
    answer = client.post(AT, {**FORM, field: value, **more})
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert (User.objects.count(), Portfolio.objects.count()) == (0, 0)


@pytest.mark.parametrize(("field", "taken"), [("ref", "north"), ("username", "ottilie")])
def test_what_is_taken_is_said_and_the_link_still_works(field: str, taken: str, client: Client) -> None:
    Portfolio.objects.create(ref="NORTH", name="Older")
    User.objects.create_user("ottilie")
    door(client)
    other = {"ref": "SOUTH", "username": "otto"}
    answer = client.post(AT, {**FORM, **other, field: taken})
    assert answer.status_code == 422
    assert "is taken." in answer.content.decode()
    assert client.post(AT, {**FORM, **other}).status_code == 302


def test_the_form_keeps_no_password_and_the_address_no_token(client: Client) -> None:
    token = owner_links.make_token()
    page = door(client, token)
    assert page.redirect_chain == [(AT, 302)]
    refused = client.post(AT, {**FORM, "again": "another one entirely"}).content.decode()
    assert FORM["password"] not in refused
    assert token not in refused


def test_the_command_prints_a_link_of_the_site(settings: Any, capsys: Any, client: Client) -> None:
    settings.IS_SECRET_KEY_GIVEN, settings.SITE_ADDRESS = True, "http://127.0.0.1:8000/"
    call_command("invite_owner")
    link, says = capsys.readouterr().out.splitlines()
    assert link.startswith("http://127.0.0.1:8000/owner/")
    assert "works once" in says
    assert "Open a portfolio" in client.get(link.removeprefix("http://127.0.0.1:8000"), follow=True).content.decode()


def test_the_command_says_so_where_the_key_of_the_site_is_not_known(settings: Any) -> None:
    settings.IS_SECRET_KEY_GIVEN = False
    with pytest.raises(CommandError, match="GAUGEGLASS_DATA"):
        call_command("invite_owner")


def test_of_two_who_use_a_link_at_once_the_second_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    token = owner_links.make_token()
    first, second = Client(), Client()
    door(first, token)
    door(second, token)
    monkeypatch.setattr(portfolios, "is_opened", lambda _: False)  # both looked before either wrote
    monkeypatch.setattr(owner_door_page, "is_opened", lambda _: False)
    assert first.post(AT, FORM).status_code == 302
    late = second.post(AT, {**FORM, "ref": "SOUTH", "username": "otto"})
    assert late.status_code == 422
    assert "has been used" in late.content.decode()
    assert Portfolio.objects.count() == 1


def test_what_to_do_next_is_said_until_somebody_can_sign_in(capsys: Any) -> None:
    call_command("next_steps")
    assert "manage.py invite_owner" in capsys.readouterr().out
    User.objects.create_user("ottilie")
    call_command("next_steps")
    assert capsys.readouterr().out == ""


HERE = {"name": "Southgate Homes", "ref": "SOUTH"}
PASSWORD = "oak-valve-2609"


@pytest.fixture
def ottilie() -> User:
    """Somebody who owns a portfolio already."""
    person = User.objects.create_user("ottilie", password=PASSWORD, first_name="Ottilie", last_name="Brandt")
    north = Portfolio.objects.create(ref="NORTH", name="Northgate Homes")
    Grant.objects.create(user=person, portfolio=north, role="owner")
    return person


def test_who_is_signed_in_becomes_the_owner_under_the_same_user_name(client: Client, ottilie: User) -> None:
    client.force_login(ottilie)
    page = door(client).content.decode()
    assert "You are signed in as Ottilie Brandt (ottilie)." in page
    assert [name for name in ("username", "password", "person") if f'name="{name}"' in page] == []
    assert client.post(AT, HERE)["Location"] == "/register/"
    owned = Grant.objects.filter(user=ottilie, role="owner").order_by("portfolio__ref")
    assert [grant.portfolio.ref for grant in owned] == ["NORTH", "SOUTH"]
    assert User.objects.count() == 1
    assert "Southgate Homes" in client.get("/register/").content.decode()
    assert door(client).status_code == 200  # that link is used up, another works


def test_who_signs_in_at_that_page_comes_back_to_it_and_becomes_the_owner(client: Client, ottilie: User) -> None:
    User.objects.filter(id=ottilie.id).update(is_asked=True)  # this does not lead away
    assert 'href="/sign-in/"' in door(client).content.decode()
    assert client.post("/sign-in/", {"username": "ottilie", "password": PASSWORD})["Location"] == AT
    assert client.post(AT, HERE).status_code == 302
    assert (Grant.objects.filter(user=ottilie, role="owner").count(), User.objects.count()) == (2, 1)


@pytest.mark.parametrize("password", ["seven-damp-cellars", PASSWORD])
def test_typing_somebodys_user_name_makes_nobody_an_owner_whatever_the_password(
    client: Client, ottilie: User, password: str
) -> None:
    before = ottilie.password
    door(client)
    answer = client.post(AT, {**FORM, **HERE, "password": password, "again": password})
    assert (answer.status_code, "This user name is taken." in answer.content.decode()) == (422, True)
    assert (Portfolio.objects.count(), Grant.objects.count()) == (1, 1)
    ottilie.refresh_from_db()
    assert ottilie.password == before
    assert "_auth_user_id" not in client.session


def test_what_else_a_signed_in_person_sends_changes_no_user(client: Client, ottilie: User) -> None:
    mallory = User.objects.create_user("mallory", password=PASSWORD)
    client.force_login(mallory)
    door(client)
    client.post(AT, {**FORM, **HERE, "user": str(ottilie.id)})
    ottilie.refresh_from_db()
    assert ottilie.check_password(PASSWORD)
    assert Grant.objects.get(portfolio__ref="SOUTH").user == mallory
    assert User.objects.filter(username__in=("ottilie", "mallory")).count() == User.objects.count()


def test_a_wrong_password_at_sign_in_keeps_the_link_and_waits_as_ever(client: Client, ottilie: User) -> None:
    door(client)
    wrong = {"username": "ottilie", "password": "not this one at all"}
    statuses = [client.post("/sign-in/", wrong).status_code for _ in range(6)]
    assert statuses == [200] * 5 + [429]
    assert client.post(AT, HERE).status_code == 422  # still nobody
    assert Portfolio.objects.count() == 1


def test_a_used_link_makes_a_signed_in_person_no_owner(client: Client, ottilie: User) -> None:
    token = owner_links.make_token()
    other = Client()
    door(other, token)
    client.force_login(ottilie)
    door(client, token)
    assert other.post(AT, {**FORM, "ref": "EAST", "username": "otto"}).status_code == 302
    assert client.post(AT, HERE).status_code == 404
    assert Grant.objects.filter(user=ottilie).count() == 1
