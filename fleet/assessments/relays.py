"""Operator proofs that are relayed: who said them and who entered them."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from fleet.accounts.models import User
from fleet.accounts.people import names_in_sentence
from fleet.assessments.models import Verdict
from fleet.visits.models import Visit


@dataclass(frozen=True, slots=True)
class Relay:
    """By whose word an operator proof counts, and who of the desk entered it. Names as people see them."""

    said_by: tuple[str, ...]
    entered_by: str

    def __str__(self) -> str:
        """Return the mark in one sentence."""
        return f"Relayed: said by {', '.join(self.said_by)}, entered by {self.entered_by}."


def relays_of(verdicts: Iterable[Verdict | None]) -> dict[UUID, Relay]:
    """Return the relayed ones of these verdicts by entry; two queries where any is. `entry` must be loaded."""
    relayed = [v for v in verdicts if v is not None and v.relayed_from]
    if not relayed:
        return {}
    visits = Visit.objects.filter(id__in={v.entry.visit_id for v in relayed}).select_related("posted_by")
    posters = {visit.id: visit.posted_by for visit in visits}
    operators = User.objects.in_bulk({UUID(user) for v in relayed for user in v.relayed_from})
    relays = {}
    for verdict in relayed:
        said_by = sorted(names_in_sentence([operators[UUID(user)]]) for user in verdict.relayed_from)
        poster = posters[verdict.entry.visit_id]
        relays[verdict.entry_id] = Relay(tuple(said_by), names_in_sentence([poster] if poster else []))
    return relays
