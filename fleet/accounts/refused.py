"""Visits that were refused, kept for the office: who sent what, when, and what was wrong with it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from fleet.accounts import policy
from fleet.accounts.models import Grant, RefusedPost, User
from fleet.portfolio.models import Boiler

KEPT = timedelta(days=30)
MOST_A_DAY = 50  # of one key: a device that repeats itself must not fill the disk


@dataclass(frozen=True, slots=True)
class Sent:
    """A post as it came, and how it was answered; `boiler` as the body names it, if it can be read."""

    route: str
    request_id: str
    body: bytes
    boiler: UUID | None
    status: int
    faults: Sequence[dict[str, Any]]


def keep(*, sent: Sent, user: User, at: datetime) -> bool:
    """Keep it, in a transaction of its own; not of who may post nowhere, nor more than so many a day of one key."""
    if not policy.grants(user, "visit.post", at).exists():
        return False
    key = user.reach.key if user.reach is not None else None
    if RefusedPost.objects.filter(user=user, key=key, at__gt=at - timedelta(days=1)).count() >= MOST_A_DAY:
        return False
    boiler = _named(sent.boiler, user)
    with transaction.atomic():
        RefusedPost.objects.create(
            user=user,
            key=key,
            at=at,
            request_id=sent.request_id,
            route=sent.route[:200],
            status=sent.status,
            faults=list(sent.faults),
            body=sent.body,
            boiler=boiler,
            portfolio_id=boiler.portfolio_id if boiler else None,
        )
    return True


def _named(boiler: UUID | None, user: User) -> Boiler | None:
    """The boiler that is meant, if it stands where the poster has or had a grant: a stranger's word names none."""
    granted = Grant.objects.filter(user=user).values("portfolio")
    return Boiler.objects.filter(id=boiler, portfolio__in=granted).first() if boiler else None


def seen(user: User | Any, at: datetime) -> QuerySet[RefusedPost]:
    """Those somebody may see: to their boilers; and to no known one, of who had a grant in a portfolio all theirs."""
    whole = policy.portfolios(user, "post.see_refused", at)
    of_ours = Grant.objects.filter(
        Q(until=None) | Q(until__gt=OuterRef("at")), user=OuterRef("user"), portfolio__in=whole.values("id")
    )
    here = Q(boiler__in=policy.boilers(user, "post.see_refused", at))
    return RefusedPost.objects.filter(here | (Q(boiler=None) & Exists(of_ours)), at__gt=at - KEPT)
