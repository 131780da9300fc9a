"""The account: what one may do and until when, keys and calendar feeds shown once and revoked, the password."""

import re
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.test import Client

from fleet.accounts import keys, people
from fleet.accounts.models import Grant, Key, User
from fleet.jobs import feeds
from fleet.jobs.models import Feed
from fleet.web.shared import pages
from tests.cast import DAY, NOW, Fleet, make_person
from tests.web.conftest import SetClock, SignIn
from tests.web.test_board import Count, read

pytestmark = pytest.mark.django_db
AT = "/account/"


@pytest.fixture(autouse=True)
def now(clock: SetClock, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "timezone", SimpleNamespace(now=lambda: NOW))


@pytest.fixture
def mia(fleet: Fleet) -> User:
    return make_person("mia", fleet.portfolio, "manager", "technician")


@pytest.fixture
def hers(mia: User, sign_in: SignIn) -> Client:
    return sign_in(mia)


def key(user: User, name: str = "Tablet") -> Key:
    return keys.create_key(user=user, name=name, scopes=["read"], at=NOW).key


def test_roles_say_their_end_and_ended_ones_are_gone(fleet: Fleet, mia: User, hers: Client) -> None:
    Grant.objects.create(user=mia, portfolio=fleet.portfolio, role="technician", until=NOW + DAY)
    Grant.objects.create(user=mia, portfolio=fleet.portfolio, role="inspector", until=NOW)
    body = read(hers, AT)
    assert '<strong>Technician</strong> of Sorrelgate Homes <span class="note">until Tue 13 Jan 2026, 14:00 UTC' in body
    assert "<strong>Manager</strong>" in body
    assert "Inspector" not in body


def test_a_key_is_shown_once_and_opens_what_it_is_for(fleet: Fleet, mia: User, hers: Client) -> None:
    sent = {"name": "Phone", "scopes": ["read", "visits"], "lasts": "90", "portfolio": str(fleet.portfolio.id)}
    made = hers.post(f"{AT}keys/make/", sent)
    secret = re.search(r"gaugeglass_[\w-]+", made.content.decode())
    assert secret is not None
    assert made.status_code == 200
    assert "no-store" in made["Cache-Control"]
    assert secret[0] not in read(hers, AT)
    owner = keys.key_owner(secret[0], NOW + 89 * DAY)
    assert owner == mia
    assert keys.key_owner(secret[0], NOW + 91 * DAY) is None
    assert owner.reach is not None
    assert (owner.reach.portfolio, owner.reach.scopes) == (fleet.portfolio.id, {"read", "visits"})


@pytest.mark.parametrize(
    ("sent", "told"),
    [
        ({"name": "", "scopes": ["read"]}, "needs the name of the device"),
        ({"name": "Phone", "scopes": ["visits"]}, "needs the scope read"),
        ({"name": "Phone", "scopes": ["read", "all"]}, "There is no such scope"),
    ],
)
def test_what_is_wrong_with_a_key_is_said_beside_its_form(sent: dict[str, object], told: str, hers: Client) -> None:
    answer = hers.post(f"{AT}keys/make/", sent)
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not Key.objects.exists()


def test_a_key_for_a_portfolio_one_does_not_see_is_as_unknown(hers: Client) -> None:
    assert hers.post(f"{AT}keys/make/", {"name": "x", "scopes": ["read"], "portfolio": str(uuid4())}).status_code == 404


def test_ones_own_key_is_revoked_and_nobody_elses(fleet: Fleet, mia: User, hers: Client) -> None:
    own, other = key(mia), key(fleet.technician)
    assert hers.post(f"{AT}keys/{own.id}/revoke/")["Location"] == "/account/#keys"
    assert hers.post(f"{AT}keys/{other.id}/revoke/").status_code == 404
    assert set(Key.objects.filter(revoked_at=None)) == {other}


def test_a_feeds_address_is_shown_once_and_leads_to_the_calendar(fleet: Fleet, mia: User, hers: Client) -> None:
    made = hers.post(f"{AT}calendars/make/", {"of": f"{fleet.portfolio.id} whole"}).content.decode()
    address = re.search(r"/api/v1/calendars/([\w-]+)\.ics", made)
    assert address is not None
    feed = feeds.feed_for_secret(address[1], NOW)
    assert feed is not None
    assert feed.user == mia
    assert feed.whole is True
    body = read(hers, AT)
    assert address[1] not in body
    assert "Sorrelgate Homes: every job" in body
    assert hers.post(f"{AT}calendars/{feed.id}/revoke/").status_code == 302
    assert feeds.feed_for_secret(address[1], NOW) is None


def test_a_feed_is_only_of_what_one_may_see(fleet: Fleet, sign_in: SignIn, mia: User) -> None:
    rosa = sign_in(fleet.technician)
    assert rosa.post(f"{AT}calendars/make/", {"of": f"{fleet.portfolio.id} whole"}).status_code == 403
    assert rosa.post(f"{AT}calendars/make/", {"of": f"{uuid4()} own"}).status_code == 404
    assert rosa.post(f"{AT}calendars/{uuid4()}/revoke/").status_code == 404
    assert not Feed.objects.exists()


@pytest.mark.parametrize("number", ["555-0101", "+1 (212) 555 0101", ""])
def test_a_telephone_number_is_kept_as_it_was_written(number: str, mia: User, hers: Client) -> None:
    assert hers.post(f"{AT}telephone/", {"telephone": f" {number} "})["Location"] == "/account/#telephone"
    mia.refresh_from_db()
    assert mia.telephone == number
    assert f'value="{number}"' in read(hers, AT)


@pytest.mark.parametrize("number", ["call me", "1234", "5" * 21, "555-0101 x3", "212+5550101", "()-()-"])
def test_what_no_telephone_could_dial_is_refused_and_shown_again(number: str, mia: User, hers: Client) -> None:
    people.keep_telephone(user=mia, number="555-0101")
    answer = hers.post(f"{AT}telephone/", {"telephone": number})
    assert answer.status_code == 422
    assert f'value="{number}"' in answer.content.decode()
    mia.refresh_from_db()
    assert mia.telephone == "555-0101"


def test_the_password_is_changed_with_the_old_one(mia: User, hers: Client) -> None:
    sent = {"old_password": "wrong", "new_password1": "slow-drain-twice", "new_password2": "slow-drain-twice"}
    assert "Nothing was changed." in hers.post(f"{AT}password/", sent).content.decode()
    assert hers.post(f"{AT}password/", {**sent, "old_password": "oak-valve-2609"})["Location"] == AT
    mia.refresh_from_db()
    assert mia.check_password("slow-drain-twice")
    assert hers.get(AT).status_code == 200


@pytest.mark.parametrize("door", ["", "password/", "keys/make/", "calendars/make/", "telephone/"])
def test_nothing_here_without_signing_in(door: str, db: None) -> None:
    answer = Client().post(f"{AT}{door}") if door.endswith(("make/", "telephone/")) else Client().get(f"{AT}{door}")
    assert (answer.status_code, answer["Location"].split("?")[0]) == (302, "/sign-in/")


def test_forms_need_the_mark_against_forgery(mia: User) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(mia)
    assert client.post(f"{AT}keys/make/", {"name": "x", "scopes": ["read"]}).status_code == 403
    assert not Key.objects.exists()


# session, user; roles, portfolios seen, feeds, who may make feeds: own, whole and the portfolios twice; qualifications,
# sessions of browsers, PINs, keys, whether a visit waits for her word
PAGE = 14


def test_what_the_page_costs(mia: User, hers: Client, django_assert_num_queries: Count) -> None:
    for n in range(5):
        key(mia, f"Tablet {n}")
    with django_assert_num_queries(PAGE):
        hers.get(AT)
