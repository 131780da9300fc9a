"""The demonstration's data, key and passwords stay in a demonstration."""

from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command

from fleet.accounts import installation, keys
from fleet.accounts.models import Installation, User
from fleet.errors import Refused
from fleet.management.demo import cast, portfolio_setup
from fleet.portfolio.models import Portfolio
from tests.cast import DAY, NOW

pytestmark = pytest.mark.django_db
PASSWORD = "copper-ladle-42"


def test_every_password_that_the_demonstration_prints_is_known() -> None:
    printed = {member.password for member in cast.CAST} | {portfolio_setup.PASSWORD}
    assert printed == installation.KNOWN_PASSWORDS
    assert cast.FIELD_KEY.startswith(installation.KNOWN_KEY_PREFIXES)


@pytest.mark.parametrize("hasher", ["MD5PasswordHasher", "PBKDF2PasswordHasher"])
@pytest.mark.parametrize(("kind", "opens"), [("demo", True), ("site", False), ("", False)])
def test_a_known_password_opens_only_a_demonstration(kind: str, opens: bool, hasher: str, settings: Any) -> None:
    settings.PASSWORD_HASHERS = [f"django.contrib.auth.hashers.{hasher}"]
    if kind:
        installation.note_kind(kind, NOW)
    User.objects.create_user("ines", password=PASSWORD)
    assert (authenticate(username="ines", password=PASSWORD) is not None) == opens


@pytest.mark.parametrize(("kind", "opens"), [("demo", True), ("site", False), ("", False)])
def test_the_known_key_opens_only_a_demonstration(kind: str, opens: bool) -> None:
    if kind:
        installation.note_kind(kind, NOW)
    user = User.objects.create_user("rosa")
    keys.make_unscoped_key(user=user, name="field", expires_at=NOW + DAY, secret=cast.FIELD_KEY)
    assert (keys.key_owner(cast.FIELD_KEY, NOW) is not None) == opens


def test_another_password_is_checked_without_asking_what_this_is(django_assert_num_queries: Any) -> None:
    User.objects.create_user("ines", password="seven-damp-cellars")
    with django_assert_num_queries(1):
        assert authenticate(username="ines", password="seven-damp-cellars")


def test_what_a_database_is_for_is_noted_once(capsys: Any) -> None:
    call_command("note_installation", "site")
    call_command("note_installation", "site")
    with pytest.raises(CommandError, match=r"This database holds a lasting site, not a demonstration\."):
        call_command("note_installation", "demo")
    assert Installation.objects.get().kind == "site"


def test_the_demonstration_is_refused_on_a_lasting_site() -> None:
    installation.note_kind("site", NOW)
    with pytest.raises(CommandError, match="not a demonstration's database"):
        call_command("make_demo", "--first")
    assert not Portfolio.objects.exists()


def test_the_demonstration_is_refused_where_people_are_and_nothing_was_noted() -> None:
    User.objects.create_user("ottilie")
    with pytest.raises(Refused):
        installation.refuse_unless_demonstration(NOW)


def test_an_empty_database_becomes_a_demonstration() -> None:
    installation.refuse_unless_demonstration(NOW)
    assert installation.is_demonstration()
    installation.refuse_unless_demonstration(NOW)
