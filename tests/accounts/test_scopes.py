"""A key's scopes: every action stands in exactly one, and the policy honours them wherever it is asked."""

from collections import Counter
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from fleet.accounts import keys, policy
from fleet.accounts.models import Grant, Key, User
from fleet.accounts.scopes import SCOPES, Reach, reach_of_key
from fleet.portfolio.models import Portfolio
from tests.cast import NOW, Fleet, make_person


def test_every_action_stands_in_exactly_one_scope() -> None:
    assert Counter(a for actions in SCOPES.values() for a in actions) == Counter(policy.ACTIONS.keys())


def test_a_key_without_recorded_scopes_covers_everything() -> None:
    assert all(reach_of_key(uuid4(), None, None).covers_action(action) for action in policy.ACTIONS)


@pytest.mark.parametrize("scope", SCOPES)
def test_a_scope_covers_its_own_actions_and_no_other(scope: str) -> None:
    one = reach_of_key(uuid4(), [scope], None)
    assert {a for a in policy.ACTIONS if one.covers_action(a)} == SCOPES[scope]


def test_a_scope_that_is_gone_covers_nothing() -> None:
    assert not any(reach_of_key(uuid4(), ["gone"], None).covers_action(action) for action in policy.ACTIONS)


def reaching(user: User, scopes: Any = None, portfolio: Any = None) -> User:
    """The same person, behind a key."""
    found = User.objects.get(id=user.id)
    found.reach = Reach(uuid4(), scopes, portfolio)
    return found


@pytest.mark.django_db
def test_the_policy_gives_a_key_what_its_scopes_cover_of_what_its_owner_may(fleet: Fleet) -> None:
    behind = reaching(fleet.technician, frozenset({"read"}))
    boiler = fleet.bench().boiler
    assert policy.boilers_for(behind, "board.see", NOW).contains(boiler)
    assert not policy.boilers_for(behind, "visit.post", NOW).exists()
    assert policy.is_allowed(fleet.technician, "visit.post", boiler.portfolio_id, boiler.building_id, NOW)
    assert not policy.is_allowed(behind, "visit.post", boiler.portfolio_id, boiler.building_id, NOW)


@pytest.mark.django_db
def test_a_scope_gives_nothing_its_owner_may_not(fleet: Fleet) -> None:
    behind = reaching(fleet.technician, frozenset(SCOPES))
    assert not policy.grants_for(behind, "register.change", NOW).exists()


@pytest.mark.django_db
def test_a_key_for_one_portfolio_sees_no_other(fleet: Fleet) -> None:
    other = Portfolio.objects.create(ref="OTHER", name="Elsewhere")
    Grant.objects.create(user=fleet.technician, portfolio=other, role="technician")
    assert policy.portfolios_for(fleet.technician, "board.see", NOW).count() == 2
    behind = reaching(fleet.technician, None, other.id)
    assert list(policy.portfolios_for(behind, "board.see", NOW)) == [other]
    assert not policy.boilers_for(behind, "board.see", NOW).exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("role", "elsewhere", "ruled"),
    [("technician", False, True), ("technician", True, False), ("owner", False, False), ("manager", False, False)],
)
def test_whose_keys_a_manager_may_end(role: str, elsewhere: bool, ruled: bool, fleet: Fleet) -> None:
    manager, person = make_person("mia", fleet.portfolio, "manager"), make_person("pim", fleet.portfolio, role)
    if elsewhere:
        other = Portfolio.objects.create(ref="OTHER", name="Elsewhere")
        Grant.objects.create(user=person, portfolio=other, role="technician", until=NOW + timedelta(seconds=1))
    assert keys.people_managed_by(manager, NOW).contains(person) is ruled
    assert keys.people_managed_by(manager, NOW + timedelta(seconds=1)).contains(person) is (role == "technician")


@pytest.mark.django_db
def test_a_manager_of_one_building_ends_no_key_of_somebody_of_the_whole_portfolio(fleet: Fleet) -> None:
    manager = make_person("mia", fleet.portfolio, "manager")
    Grant.objects.filter(user=manager).update(building=fleet.bench().boiler.building)
    assert not keys.people_managed_by(manager, NOW).exists()


@pytest.mark.django_db
def test_keys_from_before_scopes_keep_everything(fleet: Fleet) -> None:
    secret = keys.make_unscoped_key(user=fleet.technician, name="phone", expires_at=NOW + timedelta(days=1))
    assert Key.objects.get(user=fleet.technician).scopes is None
    user = keys.key_owner(secret, NOW)
    assert user is not None
    assert policy.boilers_for(user, "visit.post", NOW).exists()
