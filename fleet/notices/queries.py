"""Reading notices: which somebody may see, and what of their text."""

from datetime import datetime

from django.db.models import Q, QuerySet

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.notices.models import Notice
from fleet.notices.outbox import CONFIRM

NOTICE_KINDS = ("call", "returned", "folded", "slip", "evening", "digest", "single", "confirm")
ACTING_LINKS = "/notices/"  # links below it act in the reader's name


def visible_notices(user: User, at: datetime) -> QuerySet[Notice]:
    """Return one's own notices, and those about buildings and portfolios that one answers for.

    A key shows its owner's own notices only in the portfolio that it is limited to.
    """
    houses = policy.boilers_for(user, "notice.see", at).values("building")
    whole = policy.portfolios_for(user, "notice.see", at).values("id")
    own_notices = Q(user=user)
    if user.reach is not None and user.reach.portfolio is not None:
        own_notices &= Q(portfolio=user.reach.portfolio)
    return Notice.objects.filter(own_notices | Q(building__in=houses) | Q(portfolio__in=whole))


def text_for_reader(notice: Notice, reader: User) -> str:
    """Return the text; to others than the one it is for without the links that act in that person's name.

    The link that confirms an address is left out for its own person, too: it is to be read at that address.
    """
    if notice.user_id == reader.id and notice.kind != CONFIRM:
        return notice.text
    return "\n".join(line for line in notice.text.splitlines() if ACTING_LINKS not in line)
