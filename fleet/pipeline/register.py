"""change_register: register facts are written and judged in one transaction, like visits."""

from collections.abc import Callable, Sequence
from datetime import datetime
from itertools import islice
from uuid import UUID

from django.db import transaction

from fleet.board import services as board
from fleet.board.models import Judged
from fleet.errors import Refused
from fleet.pipeline.conclude import conclude
from fleet.portfolio import changes
from fleet.portfolio.known import Known
from fleet.portfolio.locks import lock
from fleet.portfolio.models import Boiler, Portfolio
from fleet.portfolio.news import Cause
from fleet.portfolio.plan import Plan, plan
from fleet.portfolio.services import Report, apply
from fleet.portfolio.sheet import SheetRow
from fleet.portfolio.table import MOST_FAULTS

JUDGED_AT_ONCE = 50  # boilers; more would hold their locks for longer than another write waits
Step = Callable[[int], None]


def _silent(done: int) -> None:
    """Report no progress."""


def change_register(*, portfolio: Portfolio, rows: Sequence[SheetRow], at: datetime, cause: Cause) -> Report:
    """Import a parsed sheet: lock the boilers it names, add the facts, judge the boilers that changed. All or nothing.

    Raises Refused with every cell that would change something fixed: a zone, a `since`, a role.
    """
    with transaction.atomic():
        made = locked_plan(portfolio=portfolio, rows=rows, at=at)
        return save(made, at=at, cause=cause)


def locked_plan(*, portfolio: Portfolio, rows: Sequence[SheetRow], at: datetime, step: Step = _silent) -> Plan:
    """Lock the boilers a sheet names and compare it with the register. Must run in a transaction.

    Raises Refused with every cell that would change something fixed.
    """
    refs = {row.building_ref for row in rows}
    named = Boiler.objects.filter(portfolio=portfolio, building__ref__in=refs)
    lock(named.values_list("id", flat=True))
    known = Known.of(portfolio, rows, at)
    refuse_fixed(portfolio, known, rows, at)
    return plan(portfolio=portfolio, known=known, rows=rows, at=at, step=step)


def refuse_fixed(portfolio: Portfolio, known: Known, rows: Sequence[SheetRow], at: datetime) -> None:
    """Raise Refused with the cells that would change something fixed, at most MAX_FAULTS of them."""
    faults = list(islice(changes.faults(portfolio, known, rows, at), MOST_FAULTS))
    if faults:
        raise Refused.all(sorted(faults, key=lambda f: f.at), status=422)


def save(made: Plan, *, at: datetime, cause: Cause, step: Step = _silent) -> Report:
    """Write a plan made under the same locks. Up to MAX_JUDGED_AT_ONCE boilers are judged here, more by the sweep."""
    report = apply(made, step=step)
    # Stored conclusions contain the names of boilers and places: a rename needs a new judgement.
    touched = report.touched | made.renamed
    if len(touched) <= JUDGED_AT_ONCE:
        conclude(lock(touched), at=at, cause=cause, told={made.portfolio.id: made.news} if made.news else {})
    else:
        _judge_soon(touched, at)
        board.stamp(portfolio=made.portfolio.id, news=made.news, cause=cause, at=at)
    return report


def _judge_soon(boilers: set[UUID], at: datetime) -> None:
    """Make the next sweeps judge these boilers. Boilers never judged have no row and are taken anyway."""
    Judged.objects.filter(boiler__in=boilers).update(next_at=at)
