"""Giving, asking about, answering and ending roles. Each step is recorded, so that a grant keeps its history."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.accounts.models import Grant, GrantRecord, Qualification, User
from fleet.errors import Refused
from fleet.records.row_spans import not_ended

# `from_job`: a planned job made it or moved its end. Grants older than these records have none of their beginning.
RECORD_KINDS = ("given", "asked", "accepted", "declined", "ended", "from_job")

Waiting = TypeVar("Waiting", Grant, Qualification)
_ASKED = Q(waits_since__isnull=False) | Q(longer_since__isnull=False)


def record_grant(grant: Grant, kind: str, *, at: datetime, by: User | None) -> GrantRecord:
    """Add what became of a grant to its history."""
    return GrantRecord.objects.create(
        portfolio_id=grant.portfolio_id, grant=grant, kind=kind, at=at, by=by, until=grant.until
    )


def belongs_to_portfolio(person: UUID, portfolio: UUID, at: datetime) -> bool:
    """Whether a person has a role here that did not only come with a job. Others are asked before anything begins."""
    grants = Grant.objects.filter(not_ended(at), user=person, portfolio=portfolio, is_from_job=False)
    return grants.exists()


def is_asked_about_role(person: UUID, portfolio: UUID, until: datetime | None, at: datetime) -> bool:
    """Whether a person has to accept a role before it holds until then: who does not belong, or accepted less.

    Who was here without ever being asked is given roles as before. Who said yes until a day is here until then,
    whatever else was given meanwhile.
    """
    grants = list(Grant.objects.filter(not_ended(at), user=person, portfolio=portfolio, is_from_job=False))
    if not grants:
        return True
    accepted = GrantRecord.objects.filter(portfolio=portfolio, grant__user=person, kind="accepted")
    is_longer = all(grant.until is not None and (until is None or until > grant.until) for grant in grants)
    return is_longer and accepted.exists()


def waiting_grants(person: User, at: datetime) -> list[Grant]:
    """Return the grants that wait for the answer of this person, the oldest first."""
    rows = Grant.asked_or_accepted.filter(not_ended(at), _ASKED, user=person).select_related("portfolio", "building")
    return sorted(rows, key=lambda grant: (str(grant.asked_since), str(grant.id)))


def role_history(person: UUID, portfolio: UUID, at: datetime) -> QuerySet[GrantRecord]:
    """Return what became of a person's roles in a portfolio up to `at`, the newest first."""
    records = GrantRecord.objects.filter(portfolio=portfolio, grant__user=person, at__lte=at)
    return records.select_related("grant__building", "by").order_by("-at", "id")


def note_asked(people: Iterable[UUID]) -> None:
    """Note on these people that something waits for their answer."""
    User.objects.filter(id__in=list(people), is_asked=False).update(is_asked=True)


def find_waiting(model: type[Waiting], key: Any, person: User, at: datetime) -> Waiting:
    """Lock and return what waits for this person. Raises Refused (404) where it does not."""
    is_asked = _ASKED if model is Grant else Q(waits_since__isnull=False)
    rows = model.asked_or_accepted.select_for_update(of=("self",), no_key=True).select_related("portfolio")
    row = rows.filter(not_ended(at), is_asked, id=key, user=person).first()
    if row is None:
        raise Refused("unknown", "Not found.", status=404)
    return row


def take_answer(row: Grant | Qualification, *, accepts: bool, at: datetime) -> None:
    """Let a waiting row begin, or end it. A role that holds already is kept for longer, or as it is."""
    if isinstance(row, Grant) and row.longer_since:
        row.until = row.longer_until if accepts else row.until
        row.longer_since = row.longer_until = None
        row.save(update_fields=["until", "longer_since", "longer_until"])
        return
    if accepts:
        row.waits_since = None
    else:
        row.until = at
    row.save(update_fields=["waits_since", "until"])


def ask_for_longer(grant: Grant, *, until: datetime | None, at: datetime, by: User) -> None:
    """Ask a person to keep a role for longer; it goes on as accepted meanwhile."""
    grant.longer_since, grant.longer_until = at, until
    grant.save(update_fields=["longer_since", "longer_until"])
    GrantRecord.objects.create(
        portfolio_id=grant.portfolio_id, grant=grant, kind="asked", at=at, by=by, until=grant.longer_until
    )


def answer_grant(*, grant: UUID, person: User, accepts: bool, at: datetime) -> Grant:
    """Let a grant begin, or end what was asked. Raises Refused (404) where it does not wait for this person."""
    row = find_waiting(Grant, grant, person, at)
    take_answer(row, accepts=accepts, at=at)
    record_grant(row, "accepted" if accepts else "declined", at=at, by=person)
    return row


def end_grant(grant: Grant, *, at: datetime, by: User) -> None:
    """End a grant, or take back what was asked and not answered."""
    grant.until, grant.longer_since, grant.longer_until = at, None, None
    grant.save(update_fields=["until", "longer_since", "longer_until"])
    record_grant(grant, "ended", at=at, by=by)
