"""To whom the open deficiencies of boilers are assigned."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from fleet.deficiencies.deficiency_lists import deficiency_details
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.rules.values import Level

_RANK = {level.value: rank for rank, level in enumerate(Level)}


def assignments_by_boiler(boilers: Iterable[UUID], at: datetime) -> dict[UUID, DeficiencyAct]:
    """Return by boiler the assignment of its worst open deficiency that is assigned."""
    decided = DeficiencyAct.objects.filter(deficiency__boiler__in=list(boilers), kind="assigned").values(
        "deficiency__boiler"
    )
    rows = Deficiency.objects.filter(boiler__in=decided, closed_at=None, withdrawn=False, opened_at__lte=at)
    assignments: dict[UUID, DeficiencyAct] = {}
    listed = sorted(rows.order_by("opened_at", "id"), key=lambda r: _RANK.get(level_at(r, at), len(_RANK)))
    for detail in deficiency_details(listed, at) if listed else ():
        if detail.life.assigned and detail.life.status == "assigned":
            assignments.setdefault(detail.row.boiler_id, detail.life.assigned)
    return assignments
