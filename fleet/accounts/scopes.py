"""What a key is good for: a few plain scopes, each a set of the policy's actions, perhaps in one portfolio only.

A scope takes away and never gives: what its owner may not do, no key of theirs can.
"""

from collections.abc import Collection
from dataclasses import dataclass
from uuid import UUID

READ = "read"  # without it nothing is seen, and what is not seen can't be acted on

# Every action of the policy stands in exactly one of them; one that stood in none would be open to no scoped key.
SCOPES: dict[str, frozenset[str]] = {
    READ: frozenset({"board.see", "visit.see", "job.see", "job.see_own", "terms.see", "register.see"}),
    "visits": frozenset({"visit.post", "visit.correct_own", "visit.correct", "visit.second"}),
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
    "jobs": frozenset({"job.create", "job.plan", "job.answer", "job.cancel"}),
    "register": frozenset({"register.change", "terms.adopt"}),
    "office": frozenset({"people.see", "people.change", "post.see_refused", "self_check.see"}),
}


@dataclass(frozen=True, slots=True)
class Reach:
    """How far one key goes of what its owner may: these scopes (None: all), in this portfolio (None: in any)."""

    key: UUID
    scopes: frozenset[str] | None = None
    portfolio: UUID | None = None

    def covers(self, action: str) -> bool:
        """Whether the key is good for `action`; one that no scope names is not."""
        return self.scopes is None or any(action in SCOPES.get(scope, ()) for scope in self.scopes)


def reach(key: UUID, scopes: Collection[str] | None, portfolio: UUID | None) -> Reach:
    """The reach of a key as it is stored."""
    return Reach(key, None if scopes is None else frozenset(scopes), portfolio)
