"""The scopes of keys: each is a set of the policy's actions, perhaps in one portfolio only.

A scope only restricts: a key can do nothing that its owner may not do.
"""

from collections.abc import Collection
from dataclasses import dataclass
from uuid import UUID

READ = "read"  # needed by every key: what is not visible can't be acted on

# Every action of the policy is in exactly one scope; an action in none would be closed to every scoped key.
SCOPES: dict[str, frozenset[str]] = {
    READ: frozenset(
        {
            "board.see",
            "visit.see",
            "job.see",
            "job.see_own",
            "terms.see",
            "register.see",
            "card.see",
            "call_list.see",
            "notice.see",
        }
    ),
    "visits": frozenset({"visit.post", "visit.correct_own", "visit.correct", "visit.second", "visit.reply"}),
    "acts": frozenset(
        {
            "deficiency.assign",
            "deficiency.report_repair",
            "deficiency.defer",
            "deficiency.explain",
            "alert.acknowledge",
            "alert.shelve",
        }
    ),
    "jobs": frozenset({"absence.record", "job.create", "job.plan", "job.answer", "job.cancel"}),
    "register": frozenset({"register.change", "terms.adopt"}),
    "office": frozenset(
        {"call_list.adopt", "people.see", "people.change", "post.see_refused", "self_check.see", "card.make"}
    ),
}


@dataclass(frozen=True, slots=True)
class Reach:
    """What one key may do of what its owner may do: these scopes (None: all), in this portfolio (None: any)."""

    key: UUID
    scopes: frozenset[str] | None = None
    portfolio: UUID | None = None

    def covers_action(self, action: str) -> bool:
        """Whether the key may do `action`; false for an action that is in no scope."""
        return self.scopes is None or any(action in SCOPES.get(scope, ()) for scope in self.scopes)


def reach_of_key(key: UUID, scopes: Collection[str] | None, portfolio: UUID | None) -> Reach:
    """Return the reach of a stored key."""
    return Reach(key, None if scopes is None else frozenset(scopes), portfolio)
