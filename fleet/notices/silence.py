"""That what should reach somebody reaches nobody: two conditions of a portfolio, from the calls and the addresses."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Exists, OuterRef, Q

from fleet.accounts.models import Grant
from fleet.notices.call_list.recipients import read_reachable
from fleet.notices.calling import CallRound, read_rounds
from fleet.notices.models import Destination
from fleet.records.row_spans import not_ended
from fleet.rules.values import Condition, Level

FAILING_TIME = timedelta(minutes=30)  # how long an address may fail before somebody should know


def silence_conditions(portfolio: UUID, at: datetime) -> list[Condition]:
    """Return that calls have nobody left to tell, and which addresses fail, as of `at`."""
    return [*_nobody_to_tell(portfolio, at), *_failing_addresses(portfolio, at)]


def _nobody_to_tell(portfolio: UUID, at: datetime) -> Iterator[Condition]:
    """Yield one condition for the portfolio while any call has run through its list and nobody acknowledged."""
    rounds = read_rounds(portfolio, read_reachable(portfolio, at), at)
    silent = sorted(
        (call_round for call_round in rounds if call_round.exhausted_at() <= at), key=CallRound.exhausted_at
    )
    if silent:
        first = silent[0].called
        more = f" and {len(silent) - 1} more" if len(silent) > 1 else ""
        sentence = (
            f"{first.title} at {first.place}{more}: nobody on the call list is left to tell, and nobody answered."
        )
        yield Condition(
            "nobody_to_tell",
            portfolio,
            since=silent[0].exhausted_at(),
            until=None,
            level=Level.URGENT,
            sentence=sentence,
        )


def _failing_addresses(portfolio: UUID, at: datetime) -> Iterator[Condition]:
    """Yield a condition for each address of these people that fails, or that its receiver refused for good."""
    people = Grant.objects.filter(not_ended(at), portfolio=portfolio, user__is_active=True).values("user")
    rows = Destination.objects.filter(user__in=people, failing_since__isnull=False, confirmed_at__isnull=False)
    fails = Q(ended_at=None, failing_since__lte=at - FAILING_TIME) | Q(ended_at__isnull=False, end_reason="refused")
    working = Destination.objects.filter(user=OuterRef("user"), ended_at=None, confirmed_at__gt=OuterRef("ended_at"))
    rows = rows.exclude(Exists(working))  # given another address since
    for row in rows.filter(fails).select_related("user").order_by("id"):
        assert row.failing_since is not None
        begins = row.ended_at or row.failing_since + FAILING_TIME
        failure_words = "its receiver refuses it" if row.ended_at else "every attempt fails"
        sentence = f"Nothing reaches {row.user.display_name} by {row.channel.replace('_', ' ')}: {failure_words}."
        yield Condition("notices_failing", row.id, since=begins, until=None, level=Level.URGENT, sentence=sentence)
