"""change_register: what exists comes in the same way as what was done, and is judged in the same breath."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from fleet.errors import Refused
from fleet.pipeline.conclude import conclude
from fleet.portfolio import changes
from fleet.portfolio.locks import lock
from fleet.portfolio.models import Boiler, Portfolio
from fleet.portfolio.news import Cause
from fleet.portfolio.services import Report, apply_sheet
from fleet.portfolio.sheet import SheetRow


def change_register(*, portfolio: Portfolio, rows: Sequence[SheetRow], at: datetime, cause: Cause) -> Report:
    """Import a parsed sheet: lock the boilers it names, add the facts, judge those that changed. All or nothing.

    Raises Refused with the place of every cell that would change what is fixed: a zone, a `since`, a role.
    """
    with transaction.atomic():
        refs = {row.building_ref for row in rows}
        named = Boiler.objects.filter(portfolio=portfolio, building__ref__in=refs)
        lock(named.values_list("id", flat=True))
        known = changes.Known.of(portfolio, rows)
        faults = changes.faults(known, rows)
        if faults:
            raise Refused.all(sorted(faults, key=lambda f: f.at), status=422)
        renamed = changes.renames(known, rows, at)
        report = apply_sheet(portfolio=portfolio, rows=rows, at=at)
        # Their names stand in what was concluded of them.
        touched = report.touched | {n.boiler for n in renamed if n.boiler}
        told = {portfolio.id: renamed} if renamed else {}
        conclude(lock(touched), at=at, cause=cause, told=told)
    return report
