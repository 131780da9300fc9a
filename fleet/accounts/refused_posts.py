"""Refused visits, stored for the office: who sent what, when, and its faults."""

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
from fleet.records.row_spans import not_ended

RETENTION = timedelta(days=30)
MAX_PER_DAY = 50  # of one key: a repeating device must not fill the disk


@dataclass(frozen=True, slots=True)
class SentPost:
    """A post as it was sent, and its answer; `boiler` as the body names it, None where it can't be read."""

    route: str
    request_id: str
    body: bytes
    boiler: UUID | None
    status: int
    faults: Sequence[dict[str, Any]]


def keep_refused_post(*, sent: SentPost, user: User, at: datetime) -> bool:
    """Store a refused post in its own transaction; return whether it was stored.

    Nothing is stored for users who may post nowhere, nor more than MAX_PER_DAY of one key in 24 hours.
    """
    if not policy.grants_for(user, "visit.post", at).exists():
        return False
    key = user.reach.key if user.reach is not None else None
    if RefusedPost.objects.filter(user=user, key=key, at__gt=at - timedelta(days=1)).count() >= MAX_PER_DAY:
        return False
    boiler = _named_boiler(sent.boiler, user)
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


def _named_boiler(boiler: UUID | None, user: User) -> Boiler | None:
    """Return the boiler that the post names, if it is in a portfolio where the poster has or had a grant."""
    granted = Grant.objects.filter(user=user).values("portfolio")
    return Boiler.objects.filter(id=boiler, portfolio__in=granted).first() if boiler else None


def visible_refused_posts(user: User, at: datetime) -> QuerySet[RefusedPost]:
    """Return the refused posts a user may see.

    These are posts to their boilers, and posts without a known boiler by people with a grant, when posted, in a
    portfolio that the user may see as a whole.
    """
    whole = policy.portfolios_for(user, "post.see_refused", at)
    of_ours = Grant.objects.filter(not_ended(OuterRef("at")), user=OuterRef("user"), portfolio__in=whole.values("id"))
    to_their_boilers = Q(boiler__in=policy.boilers_for(user, "post.see_refused", at))
    return RefusedPost.objects.filter(to_their_boilers | (Q(boiler=None) & Exists(of_ours)), at__gt=at - RETENTION)
