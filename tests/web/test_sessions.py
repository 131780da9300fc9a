"""Sessions end by idleness and by age, are listed on the account page, and are ended there one by one or together."""

import re
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from fleet.accounts import browser_sessions, keys
from fleet.accounts.models import BrowserSession, User
from fleet.accounts.purge import purge_expired
from fleet.web.account import password_page
from fleet.web.shared import session_use
from tests.cast import DAY, Fleet, make_person
from tests.web.test_board import Count

pytestmark = pytest.mark.django_db
SECOND, MINUTE, HOUR = timedelta(seconds=1), timedelta(minutes=1), timedelta(hours=1)
FIREFOX = "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"
OLD, NEW = "a copper jug at noon", "a kettle and a lamp"


@pytest.fixture
def mia(fleet: Fleet) -> User:
    user = make_person("mia", fleet.portfolio, "manager", "technician")
    user.set_password(OLD)
    user.save()
    return user


def signed_in(agent: str = FIREFOX) -> Client:
    """A browser that signed in by the form."""
    client = Client(headers={"User-Agent": agent})
    assert client.post("/sign-in/", {"username": "mia", "password": OLD}).status_code == 302
    return client


def is_in(client: Client) -> bool:
    return bool(client.get("/account/").status_code == 200)


@pytest.fixture
def put_clock(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Put the clock by which sessions end so far on from now."""
    begun = timezone.now()

    def put(span: timedelta) -> datetime:
        monkeypatch.setattr(session_use, "timezone", SimpleNamespace(now=lambda: begun + span))
        return begun + span

    put(timedelta(0))
    return put


@pytest.mark.parametrize(
    ("span", "works"), [(12 * HOUR - SECOND, True), (12 * HOUR, False), (12 * HOUR + SECOND, False)]
)
def test_a_session_ends_after_twelve_hours_without_use(mia: User, put_clock: Any, span: timedelta, works: bool) -> None:
    client = signed_in()
    put_clock(span)
    assert is_in(client) is works
    assert Session.objects.count() == BrowserSession.objects.count() == int(works)


def test_a_session_that_is_used_goes_on(mia: User, put_clock: Any) -> None:
    client = signed_in()
    for hours in range(0, 50, 10):
        put_clock(hours * HOUR)
        assert is_in(client)


@pytest.mark.parametrize(("span", "works"), [(14 * DAY - SECOND, True), (14 * DAY, False), (14 * DAY + SECOND, False)])
def test_a_session_ends_after_fourteen_days_however_much_it_is_used(
    mia: User, put_clock: Any, span: timedelta, works: bool
) -> None:
    client = signed_in()
    for half_days in range(1, 28):
        put_clock(half_days * 12 * HOUR - MINUTE)
        assert is_in(client) or half_days * 12 * HOUR - MINUTE >= 14 * DAY
        put_clock(half_days * 12 * HOUR - MINUTE + 6 * HOUR)
        is_in(client)
    put_clock(span)
    assert is_in(client) is works


@pytest.mark.parametrize(("path", "counts"), [("/board/rows/", True), ("/fresh/", False)])
def test_a_board_that_refreshes_itself_is_in_use_and_a_page_left_open_is_not(
    mia: User, put_clock: Any, path: str, counts: bool
) -> None:
    client = signed_in()
    put_clock(6 * HOUR)
    assert client.get(path, headers={"HX-Request": "true"}).status_code == 200
    put_clock(12 * HOUR)
    assert is_in(client) is counts


def test_how_long_it_may_lie_idle_is_a_setting(mia: User, put_clock: Any, settings: Any) -> None:
    settings.SESSION_IDLE = HOUR
    client = signed_in()
    put_clock(HOUR)
    assert not is_in(client)


def test_a_use_is_noted_at_most_once_a_minute(mia: User, put_clock: Any) -> None:
    client = signed_in()
    begun = BrowserSession.objects.get().last_used_at
    for span, noted in ((MINUTE - SECOND, timedelta(0)), (MINUTE, MINUTE), (MINUTE + SECOND, MINUTE)):
        put_clock(span)
        client.get("/account/")
        assert BrowserSession.objects.get().last_used_at - begun == noted


def test_a_session_that_ended_asks_a_refresh_to_sign_in_and_the_api_too(mia: User, put_clock: Any) -> None:
    client = signed_in()
    put_clock(12 * HOUR)
    assert client.get("/board/rows/", headers={"HX-Request": "true"}).status_code == 401
    assert client.get("/api/v1/boilers/").status_code == 401


def test_a_session_from_before_they_were_noted_goes_on_and_is_noted(mia: User) -> None:
    client = signed_in()
    session = client.session
    for name in (browser_sessions.BEGAN, browser_sessions.USED):
        del session[name]
    session.save()
    BrowserSession.objects.all().delete()
    assert is_in(client)
    assert BrowserSession.objects.get().user == mia


def listed(client: Client) -> list[str]:
    """The devices in the list as it is read."""
    body = client.get("/account/").content.decode()
    part = body.split('id="sessions"')[1].split("</section>")[0]
    lines = re.findall(r"<span>\s*<strong>(.*?)<span", part, re.DOTALL)
    return [" ".join(re.sub("<.*?>", "", line).split()) for line in lines]


def test_the_account_lists_each_browser_in_plain_words_and_marks_this_one(mia: User) -> None:
    first, second = signed_in("curl/8.5.0"), signed_in()
    assert listed(second) == ["Firefox on Linux, this browser", "A program"]
    assert sorted(listed(first)) == ["A program, this browser", "Firefox on Linux"]


def test_one_session_is_ended_and_the_others_go_on(mia: User) -> None:
    first, second = signed_in("curl/8.5.0"), signed_in()
    row = BrowserSession.objects.get(device="A program")
    assert second.post(f"/account/sessions/{row.id}/end/")["Location"] == "/account/#sessions"
    assert is_in(first) is False
    assert is_in(second) is True
    assert second.post(f"/account/sessions/{row.id}/end/").status_code == 404


def test_the_session_in_use_can_be_ended_too(mia: User) -> None:
    client = signed_in()
    client.post(f"/account/sessions/{BrowserSession.objects.get().id}/end/")
    assert not is_in(client)


def test_nobody_ends_the_session_of_another(mia: User, fleet: Fleet) -> None:
    client, other = signed_in(), Client()
    other.force_login(fleet.technician)
    assert other.post(f"/account/sessions/{BrowserSession.objects.get(user=mia).id}/end/").status_code == 404
    assert is_in(client)


def test_all_others_are_ended_together(mia: User, fleet: Fleet) -> None:
    other = Client()
    other.force_login(fleet.technician)
    clients = [signed_in() for _ in range(3)]
    clients[0].post("/account/sessions/end-others/")
    assert [is_in(client) for client in clients] == [True, False, False]
    assert other.get("/account/").status_code == 200


def test_signing_out_takes_the_session_off_the_list(mia: User) -> None:
    first, second = signed_in(), signed_in()
    first.post("/sign-out/")
    assert listed(second) == ["Firefox on Linux, this browser"]


def change(client: Client, **more: str) -> Any:
    sent = {"old_password": OLD, "new_password1": NEW, "new_password2": NEW, **more}
    return client.post("/account/password/", sent)


@pytest.mark.parametrize(("box", "goes_on"), [({"end_sessions": "on"}, False), ({}, True)])
def test_a_changed_password_ends_the_other_sessions_where_it_is_wished(
    mia: User, box: dict[str, str], goes_on: bool
) -> None:
    first, second = signed_in("curl/8.5.0"), signed_in()
    assert change(second, **box).status_code == 302
    assert is_in(first) == goes_on
    assert is_in(second) is True
    assert listed(second)[0] == "Firefox on Linux, this browser"
    assert len(listed(second)) == 1 + goes_on


def test_the_box_that_ends_sessions_is_ticked_and_the_keys_are_asked_about(mia: User) -> None:
    keys.create_key(user=mia, name="Phone", scopes=["read"], at=timezone.now())
    body = signed_in().get("/account/password/").content.decode()
    assert re.search(r'<input type="checkbox" name="end_sessions"[^>]* checked', body)
    assert re.findall(r'<option value="(\w*)"( selected)?', body) == [("", " selected"), ("keep", ""), ("revoke", "")]


def test_without_an_answer_about_the_keys_nothing_is_changed(mia: User) -> None:
    keys.create_key(user=mia, name="Phone", scopes=["read"], at=timezone.now())
    answer = change(signed_in())
    assert answer.status_code == 200
    assert "Say what becomes of your keys." in answer.content.decode()
    mia.refresh_from_db()
    assert mia.check_password(OLD)


@pytest.mark.parametrize(("choice", "left"), [("keep", 1), ("revoke", 0)])
def test_keys_end_with_the_password_where_it_is_wished(mia: User, choice: str, left: int) -> None:
    keys.create_key(user=mia, name="Phone", scopes=["read"], at=timezone.now() - HOUR)
    change(signed_in(), device_keys=choice)
    assert keys.keys_in_force(mia, timezone.now()).count() == left


def test_who_has_no_keys_is_not_asked_about_them(mia: User) -> None:
    body = signed_in().get("/account/password/").content.decode()
    assert "device_keys" not in body
    assert password_page.REVOKE_KEYS not in body


def test_a_password_of_ones_own_name_is_refused_by_the_form(mia: User) -> None:
    answer = change(signed_in(), new_password1="mia-mia-mia-mia", new_password2="mia-mia-mia-mia")
    assert "little more than your own name" in answer.content.decode()


def test_noting_a_use_costs_nothing_within_a_minute(mia: User, django_assert_num_queries: Count) -> None:
    client = signed_in()
    with django_assert_num_queries(2):  # the session and the person
        client.get("/sign-in/")


def test_what_ended_is_removed_in_time(mia: User) -> None:
    signed_in()
    now = timezone.now()
    purge_expired(at=now + 14 * DAY - HOUR)
    assert (Session.objects.count(), BrowserSession.objects.count()) == (1, 1)
    purge_expired(at=now + 15 * DAY)
    assert not Session.objects.exists()
    assert not BrowserSession.objects.exists()
