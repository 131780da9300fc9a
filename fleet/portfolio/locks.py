"""Locking boilers: every write begins with it, before anything is read for a decision."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Q

from fleet.portfolio.models import Boiler


def lock_boilers(boilers: Iterable[UUID], *, skip_locked: bool = False) -> list[Boiler]:
    """Lock these boilers and all that share a header group with one of them; must run inside a transaction.

    Locks are taken by ascending id, so that two writes cannot deadlock, and FOR NO KEY UPDATE, so that rows that point
    at a boiler can still be inserted. With `skip_locked`, boilers locked by others are left out.
    """
    ids = list(boilers)
    groups = Boiler.objects.filter(id__in=ids, header_group__isnull=False).values("header_group")
    concerned = Boiler.objects.filter(Q(id__in=ids) | Q(header_group__in=groups)).select_related("building")
    concerned = concerned.order_by("id")
    return list(concerned.select_for_update(no_key=True, skip_locked=skip_locked, of=("self",)))
