"""Failed sign-ins make the next one wait, by name and by address; nothing tells whether a name is known."""

import secrets
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.contrib.auth import hashers
from django.test import Client

from fleet.accounts import attempts
from fleet.accounts.attempts import ADDRESS_PATIENCE, NAME_PATIENCE, SignInTry
from fleet.accounts.models import Attempt, User
from fleet.accounts.purge import purge_expired
from fleet.web.account import sign_in
from tests.cast import DAY, NOW

pytestmark = pytest.mark.django_db
GOOD = "oak-valve-2609"
SECOND = timedelta(seconds=1)


@pytest.fixture(autouse=True)
def pim(db: Any) -> User:
    return User.objects.create_user("pim", password=GOOD)


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The pages' clock; it stands where it is set."""
    stands = SimpleNamespace(at=NOW)
    monkeypatch.setattr(sign_in, "timezone", SimpleNamespace(now=lambda: stands.at))
    return stands


def sign(
    name: str = "pim", password: str = "wrong", address: str = "198.51.100.1", client: Client | None = None
) -> Any:
    return (client or Client()).post("/sign-in/", {"username": name, "password": password}, REMOTE_ADDR=address)


def fail(times: int, name: str = "pim", address: str = "198.51.100.1") -> list[int]:
    return [sign(name, address=address).status_code for _ in range(times)]


@pytest.mark.parametrize(
    ("failures", "seconds"), [(0, 0), (4, 0), (5, 2), (6, 4), (9, 32), (10, 60), (11, 60), (10_000, 60)]
)
def test_how_long_a_name_waits(failures: int, seconds: int) -> None:
    assert NAME_PATIENCE.wait_after(failures) == timedelta(seconds=seconds)


@pytest.mark.parametrize(("failures", "seconds"), [(19, 0), (20, 2), (28, 512), (29, 900), (10_000, 900)])
def test_how_long_an_address_waits(failures: int, seconds: int) -> None:
    assert ADDRESS_PATIENCE.wait_after(failures) == timedelta(seconds=seconds)


def test_after_five_failures_nothing_is_tried_for_a_while_not_even_what_is_right(clock: Any) -> None:
    assert fail(6) == [200] * 5 + [429]
    refused = sign(password=GOOD)
    assert (refused.status_code, refused["Retry-After"]) == (429, "2")
    assert "Too many sign-ins failed. Try again in 2 seconds." in refused.content.decode()
    clock.at = NOW + 2 * SECOND - timedelta(microseconds=1)
    assert sign(password=GOOD).status_code == 429
    clock.at = NOW + 2 * SECOND
    assert sign(password=GOOD).status_code == 302


def test_trying_while_one_waits_makes_it_no_longer(clock: Any) -> None:
    fail(12)
    assert Attempt.objects.order_by("failures").values_list("failures", flat=True)[0] == 5
    clock.at = NOW + 2 * SECOND
    assert sign(password=GOOD).status_code == 302


def test_signing_in_lets_the_name_begin_anew(clock: Any) -> None:
    fail(4)
    assert sign(password=GOOD).status_code == 302
    assert fail(5) == [200] * 5


@pytest.mark.parametrize("name", ["PIM", " pim ", "\uff50im"])
def test_other_spellings_of_a_name_are_the_name(name: str) -> None:
    fail(5)
    assert sign(name).status_code == 429


def test_a_name_waits_wherever_it_is_tried_from() -> None:
    assert [sign(address=f"198.51.100.{n}").status_code for n in range(6)] == [200] * 5 + [429]


def test_an_address_waits_whatever_names_it_tries_and_others_do_not() -> None:
    assert [sign(f"somebody-{n}").status_code for n in range(21)] == [200] * 20 + [429]
    assert sign("pim", GOOD).status_code == 429
    assert sign("pim", GOOD, "198.51.100.2").status_code == 302


def test_signing_in_takes_back_no_failure_of_its_address_but_its_own() -> None:
    for n in range(10):
        sign(f"somebody-{n}")
    sign(password=GOOD)
    assert sorted(Attempt.objects.values_list("failures", flat=True))[-1] == 10


def seen(response: Any, name: str) -> str:
    """The page without what differs between any two: the name typed, the form's mark, the request's id."""
    text = response.content.decode().replace(f'value="{name}"', "")
    return "\n".join(line for line in text.splitlines() if "csrf" not in line)


def test_an_unknown_name_and_a_wrong_password_are_answered_alike(clock: Any) -> None:
    for _ in range(6):
        known, unknown = sign("pim"), sign("nobody", address="198.51.100.2")
        assert known.status_code == unknown.status_code
        assert seen(known, "pim") == seen(unknown, "nobody")


@pytest.mark.parametrize("name", ["pim", "nobody", "gone"])
def test_every_try_costs_one_hash_whoever_it_is(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    User.objects.create_user("gone", password=GOOD, is_active=False)
    hashed = []
    encode = hashers.MD5PasswordHasher.encode

    def counting(self: Any, password: str, salt: str, *more: Any) -> str:
        hashed.append(password)
        return encode(self, password, salt, *more)

    monkeypatch.setattr(hashers.MD5PasswordHasher, "encode", counting)
    sign(name)
    assert hashed == ["wrong"]


def test_no_try_ends_a_session_that_runs() -> None:
    client = Client()
    sign(password=GOOD, client=client)
    fail(8)
    assert client.get("/", REMOTE_ADDR="198.51.100.1").status_code == 200


def test_signing_in_gives_the_session_a_new_key() -> None:
    client = Client()
    planted = client.session
    planted["seen"] = True
    planted.save()
    before = planted.session_key
    sign(password=GOOD, client=client)
    assert client.session.session_key != before


def test_a_form_left_empty_is_no_try() -> None:
    for _ in range(9):
        sign(password="")
    assert not Attempt.objects.exists()


def test_what_was_typed_is_kept_nowhere() -> None:
    typed = secrets.token_hex(8)
    sign(typed, typed)
    assert typed not in str(list(Attempt.objects.values()))


@pytest.mark.parametrize(("after", "left"), [(DAY - SECOND, 2), (DAY, 0)])
def test_failures_are_forgotten_a_day_after_the_last(after: timedelta, left: int) -> None:
    fail(5)
    purge_expired(at=NOW + after)
    assert Attempt.objects.count() == left


def test_what_is_forgotten_counts_no_more_also_where_nothing_was_purged(clock: Any) -> None:
    fail(5)
    clock.at = NOW + DAY
    assert fail(5) == [200] * 5


def test_of_a_hundred_tries_five_are_looked_at() -> None:
    tried = SignInTry("pim", "198.51.100.1")
    waits = [attempts.book_attempt(tried, NOW) for _ in range(100)]
    assert [w > timedelta(0) for w in waits] == [False] * 5 + [True] * 95
