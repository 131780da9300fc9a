"""adopt_terms: writes, stamps and stops; the sweep judges again by `build`, a few boilers a time."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.board import services as board
from fleet.portfolio.news import Cause, News
from fleet.terms import services
from fleet.terms.incoming import IncomingTerms
from fleet.terms.models import Adoption
from fleet.wake import wake


@transaction.atomic
def adopt_terms(
    *, portfolio: UUID, terms: IncomingTerms, version: int, by: User, at: datetime, cause: Cause | None = None
) -> Adoption:
    """Adopt terms on top of `version` (0: none so far). The first hold for all time, each later one from a midnight.

    Raises Refused with every fault.
    """
    cause = cause or Cause(who=by.get_username())
    made = services.adopt(portfolio=portfolio, terms=terms, version=version, by=by, at=at, request_id=cause.request_id)
    since = f"from {made.starts_on.isoformat()} on" if made.starts_on else "for all time"
    sentence = f"Terms version {made.version} are adopted, {since}."
    news = News("terms.adopted", made.id, None, str(version or ""), str(made.version), sentence, "", at)
    board.stamp(portfolio=portfolio, news=[news], cause=cause, at=at)
    wake("fleet.tasks.sweep")
    return made
