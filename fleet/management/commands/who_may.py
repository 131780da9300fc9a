"""`manage.py who_may`: print who may do what, and what each scope of a key covers."""

from collections.abc import Iterator

from django.core.management.base import BaseCommand

from fleet.accounts import policy
from fleet.accounts.scopes import SCOPES


class Command(BaseCommand):
    """Prints the tables of the policy and of the scopes as Markdown."""

    help = "Print which role may do what, and what each scope of a key covers."
    requires_system_checks = []

    def handle(self, *args: object, **options: object) -> None:
        """Print both tables."""
        for line in (*action_lines(), "", *scope_lines()):
            self.stdout.write(line)


def action_lines() -> Iterator[str]:
    """Yield the lines of the table of actions: a row for each action, a column for each role."""
    roles = sorted(frozenset().union(*policy.ACTIONS.values()))
    yield _table_line(["action", *roles, "limit"])
    yield _table_line(["---"] * (len(roles) + 2))
    for action, allowed in policy.ACTIONS.items():
        answers = ["yes" if role in allowed else "" for role in roles]
        yield _table_line([f"`{action}`", *answers, policy.LIMITS.get(action, "")])


def scope_lines() -> Iterator[str]:
    """Yield the lines of the table of scopes."""
    yield _table_line(["scope", "covers"])
    yield _table_line(["---", "---"])
    for scope, actions in SCOPES.items():
        yield _table_line([f"`{scope}`", ", ".join(sorted(actions))])


def _table_line(cells: list[str]) -> str:
    return f"| {' | '.join(cells)} |"
