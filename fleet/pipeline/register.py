"""change_register: register facts are written and judged in one transaction, like visits."""

from collections.abc import Callable, Sequence
from datetime import datetime
from itertools import islice
from uuid import UUID

from django.db import transaction

from fleet.board.models import Judged
from fleet.errors import Refused
from fleet.pipeline.conclude import write_and_conclude
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler, Portfolio
from fleet.records.events import Cause
from fleet.sheets import register_faults
from fleet.sheets.apply_sheet import ImportSummary, apply_plan
from fleet.sheets.import_plan import ImportPlan
from fleet.sheets.plan import plan_import
from fleet.sheets.register_sheet import SheetRow
from fleet.sheets.register_snapshot import RegisterSnapshot
from fleet.sheets.table import MAX_FAULTS

MAX_JUDGED_AT_ONCE = 50  # boilers; more would hold their locks for longer than another write waits
ReportProgress = Callable[[int], None]


def _ignore_progress(rows_done: int) -> None:
    """Report no progress."""


def change_register(*, portfolio: Portfolio, rows: Sequence[SheetRow], at: datetime, cause: Cause) -> ImportSummary:
    """Import a parsed sheet: lock the boilers it names, add the facts, judge the boilers that changed. All or nothing.

    Raises Refused with every cell that would change something fixed: a zone, a `since`, a role.
    """
    with transaction.atomic():
        plan = lock_and_plan(portfolio=portfolio, rows=rows, at=at)
        return save_plan(plan, at=at, cause=cause)


def lock_and_plan(
    *, portfolio: Portfolio, rows: Sequence[SheetRow], at: datetime, step: ReportProgress = _ignore_progress
) -> ImportPlan:
    """Lock the boilers a sheet names and compare it with the register. Must run in a transaction.

    Raises Refused with every cell that would change something fixed.
    """
    refs = {row.building_ref for row in rows}
    named_boilers = Boiler.objects.filter(portfolio=portfolio, building__ref__in=refs)
    lock_boilers(named_boilers.values_list("id", flat=True))
    register = RegisterSnapshot.for_sheet(portfolio, rows, at)
    refuse_fixed(portfolio, register, rows, at)
    return plan_import(portfolio=portfolio, register=register, rows=rows, at=at, step=step)


def refuse_fixed(portfolio: Portfolio, register: RegisterSnapshot, rows: Sequence[SheetRow], at: datetime) -> None:
    """Raise Refused with the cells that would change something fixed, at most MAX_FAULTS of them."""
    faults = list(islice(register_faults.fixed_cell_faults(portfolio, register, rows, at), MAX_FAULTS))
    if faults:
        raise Refused.from_faults(sorted(faults, key=lambda f: f.at), status=422)


def save_plan(
    plan: ImportPlan, *, at: datetime, cause: Cause, step: ReportProgress = _ignore_progress
) -> ImportSummary:
    """Write a plan made under the same locks. Up to MAX_JUDGED_AT_ONCE boilers are judged here, more by the sweep."""

    def boilers_to_judge(report: ImportSummary) -> set[UUID]:
        # Stored conclusions contain the names of boilers and places: a rename needs a new judgement.
        touched = report.touched | plan.renamed
        return touched if len(touched) <= MAX_JUDGED_AT_ONCE else _judge_soon(touched, at)

    return write_and_conclude(
        boilers=(),  # those the plan names are locked by who made it
        at=at,
        cause=cause,
        write_facts=lambda _: apply_plan(plan, step=step),
        describe_events=lambda _: {plan.portfolio.id: plan.events} if plan.events else {},
        boilers_to_judge=boilers_to_judge,
    )


def _judge_soon(boilers: set[UUID], at: datetime) -> set[UUID]:
    """Leave these boilers to the next sweeps; return those to judge now, none. One never judged is taken anyway."""
    Judged.objects.filter(boiler__in=boilers).update(next_at=at)
    return set()
