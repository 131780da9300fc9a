"""The table of who may do what: closed by default, and printed by `manage.py who_may`."""

from io import StringIO

import pytest
from django.core.management import call_command

from fleet.accounts import policy
from fleet.accounts.scopes import SCOPES

ROLES = ("technician", "caretaker", "dispatcher", "manager", "owner", "inspector", "office")


def printed() -> list[list[list[str]]]:
    """The tables the command prints, without their heads' second lines."""
    out = StringIO()
    call_command("who_may", stdout=out)
    tables = [
        [[c.strip() for c in line[1:-1].split("|")] for line in t.splitlines()] for t in out.getvalue().split("\n\n")
    ]
    return [[head, *rows] for head, _, *rows in tables]


def test_the_printed_table_is_the_policy() -> None:
    head, *rows = printed()[0]
    roles = head[1:-1]
    assert sorted(roles) == sorted(ROLES)
    shown = {
        row[0].strip("`"): frozenset(r for r, c in zip(roles, row[1:-1], strict=True) if c == "yes") for row in rows
    }
    assert shown == policy.ACTIONS
    assert {row[0].strip("`"): row[-1] for row in rows if row[-1]} == policy.LIMITS


def test_the_printed_scopes_are_the_scopes() -> None:
    _, *rows = printed()[1]
    assert {row[0].strip("`"): frozenset(row[1].split(", ")) for row in rows} == SCOPES


@pytest.mark.parametrize("action", policy.ACTIONS)
def test_only_known_roles_may_do_anything(action: str) -> None:
    assert policy.ACTIONS[action] <= set(ROLES)
    assert policy.ACTIONS[action]


def test_every_limit_is_of_an_action() -> None:
    assert policy.LIMITS.keys() <= policy.ACTIONS.keys()
