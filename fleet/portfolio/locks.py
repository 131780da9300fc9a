"""How every write begins: the boilers concerned, locked in ascending order before anything is read for a decision."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Q

from fleet.portfolio.models import Boiler


def lock(boilers: Iterable[UUID], *, skip_locked: bool = False) -> list[Boiler]:
    """Lock these boilers and all that share a header group with one of them; must run inside a transaction.

    Ascending ids, so that two writes never wait for each other in a ring; FOR NO KEY UPDATE, so that rows pointing at
    a boiler can still be inserted. With `skip_locked`, boilers somebody else holds are left out.
    """
    ids = list(boilers)
    groups = Boiler.objects.filter(id__in=ids, header_group__isnull=False).values("header_group")
    concerned = Boiler.objects.filter(Q(id__in=ids) | Q(header_group__in=groups)).select_related("building")
    concerned = concerned.order_by("id")
    return list(concerned.select_for_update(no_key=True, skip_locked=skip_locked, of=("self",)))
