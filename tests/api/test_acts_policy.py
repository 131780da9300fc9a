"""The table of who may do what: closed by default, and the one DEVELOPERS.md shows."""

import re

import pytest

from fleet.accounts import policy
from tests.cast import ROOT

ROLES = ("technician", "caretaker", "dispatcher", "manager", "owner", "inspector", "office")


def shown() -> dict[str, frozenset[str]]:
    """The table of the document."""
    text = (ROOT / "DEVELOPERS.md").read_text()
    rows = re.findall(r"^\| `(\w+\.\w+)`[^|]*\|(.*)\|$", text, re.MULTILINE)
    cells = {action: [cell.strip() for cell in rest.split("|")] for action, rest in rows}
    return {a: frozenset(r for r, c in zip(ROLES, row, strict=True) if c == "yes") for a, row in cells.items()}


def test_the_document_shows_the_table_as_it_is() -> None:
    assert shown() == policy.ACTIONS


@pytest.mark.parametrize("action", policy.ACTIONS)
def test_only_known_roles_may_do_anything(action: str) -> None:
    assert policy.ACTIONS[action] <= set(ROLES)
    assert policy.ACTIONS[action]
