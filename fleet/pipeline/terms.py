"""adopt_terms: write the terms and their event. The sweep then judges boilers again, since their `build` is old."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.board import services as board
from fleet.records.events import Cause, ChangeEvent
from fleet.terms import services
from fleet.terms.incoming import IncomingTerms
from fleet.terms.models import Adoption
from fleet.wake import wake_task


@transaction.atomic
def adopt_terms(
    *, portfolio: UUID, terms: IncomingTerms, version: int, by: User, at: datetime, cause: Cause | None = None
) -> Adoption:
    """Adopt terms on top of `version` (0: none so far) and wake the sweep.

    The first terms hold for all time, later ones from a midnight. Raises Refused: 412 where `version` is not the
    newest, 422 with every fault.
    """
    cause = cause or Cause(who=by.get_username())
    adoption = services.adopt_version(
        portfolio=portfolio, terms=terms, version=version, by=by, at=at, request_id=cause.request_id
    )
    since = f"from {adoption.starts_on.isoformat()} on" if adoption.starts_on else "for all time"
    sentence = f"Terms version {adoption.version} are adopted, {since}."
    event = ChangeEvent(
        "terms.adopted",
        adoption.id,
        boiler=None,
        before=str(version or ""),
        after=str(adoption.version),
        sentence=sentence,
        rule="",
        at=at,
    )
    board.record_changes(portfolio=portfolio, events=[event], cause=cause, at=at)
    wake_task("fleet.tasks.sweep")
    return adoption
