"""To whom the open deficiencies of boilers are assigned."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from fleet.deficiencies.life import level_at
from fleet.deficiencies.listed import shown
from fleet.deficiencies.models import Act, Deficiency
from fleet.rules.values import Level

_RANK = {level.value: rank for rank, level in enumerate(Level)}


def of_boilers(boilers: Iterable[UUID], at: datetime) -> dict[UUID, Act]:
    """Return by boiler the assignment of its worst open deficiency that is assigned."""
    decided = Act.objects.filter(deficiency__boiler__in=list(boilers), kind="assigned").values("deficiency__boiler")
    rows = Deficiency.objects.filter(boiler__in=decided, closed_at=None, withdrawn=False, opened_at__lte=at)
    found: dict[UUID, Act] = {}
    listed = sorted(rows.order_by("opened_at", "id"), key=lambda r: _RANK.get(level_at(r, at), len(_RANK)))
    for one in shown(listed, at) if listed else ():
        if one.life.assigned and one.life.status == "assigned":
            found.setdefault(one.row.boiler_id, one.life.assigned)
    return found
