"""The sweep: judge boilers whose next boundary has passed, or whose conclusions were made by an older build."""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from fleet.alerts import services as alerts
from fleet.alerts.models import Alert
from fleet.alerts.queries import shelvings_over
from fleet.board import queries
from fleet.board.models import Judged
from fleet.evidence import build_of
from fleet.pipeline.conclude import conclude_boilers
from fleet.pipeline.jobs import sweep_jobs
from fleet.pipeline.memory import forget_boilers
from fleet.pipeline.portfolio_conditions import lock_pulse
from fleet.pipeline.telling import record_and_tell, sweep_notices
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler, Portfolio
from fleet.records.events import Cause

log = logging.getLogger(__name__)
RETRY_DELAY = timedelta(minutes=5)
MAX_BOILERS_PER_SWEEP = 500


@dataclass(frozen=True, slots=True)
class SweepResult:
    """How many boilers a sweep judged, skipped because somebody held their lock, and failed to judge."""

    judged: int
    skipped: int
    failed: int


def sweep(*, at: datetime, limit: int = MAX_BOILERS_PER_SWEEP, tells: bool = True) -> SweepResult:
    """Judge the waiting boilers, one per transaction, then settle jobs. A boiler that fails stops no other.

    Then the notices that time asks for are written, unless `tells` is False: for who sweeps inside of a long
    transaction, since each portfolio's pulse is locked for them.
    """
    builds = [(p, build_of(p, at)) for p in Portfolio.objects.values_list("id", flat=True)]
    outcomes = [_judge_boiler(boiler, at) for boiler in queries.boilers_to_judge(builds, at, limit)]
    for alert in shelvings_over(at):
        _end_shelving(alert, at)
    sweep_jobs(at=at, limit=limit)
    if tells:
        sweep_notices(at=at)
    return SweepResult(outcomes.count("judged"), outcomes.count("skipped"), outcomes.count("failed"))


def _judge_boiler(boiler_id: UUID, at: datetime) -> str:
    try:
        with transaction.atomic():
            boilers = lock_boilers([boiler_id], skip_locked=True)
            if not any(b.id == boiler_id for b in boilers):
                return "skipped"
            # A post may have judged it between the list and the lock: then nothing differs and nothing is written.
            conclude_boilers(boilers, at=at, cause=Cause(who="sweep"))
            return "judged"
    except Exception:
        log.exception("boiler %s could not be judged", boiler_id)
        _record_failure(boiler_id, at)
        return "failed"


def _end_shelving(alert: Alert, at: datetime) -> None:
    """Show an alert without a boiler again: no judgement of a boiler would. One that fails stops no other."""
    try:
        with transaction.atomic():
            lock_pulse(alert.portfolio_id)
            events = alerts.refresh_alert(alert=alert.id, at=at)
            if events:
                record_and_tell(portfolio=alert.portfolio_id, events=events, cause=Cause(who="sweep"), at=at)
    except Exception:
        log.exception("alert %s could not be shown again", alert.id)


def _record_failure(boiler_id: UUID, at: datetime) -> None:
    with transaction.atomic():
        boiler = Boiler.objects.select_for_update(no_key=True).get(id=boiler_id)
        row, _ = Judged.objects.get_or_create(
            boiler=boiler,
            defaults={"id": boiler.id, "portfolio_id": boiler.portfolio_id, "judged_at": at, "build": "none"},
        )
        row.failures += 1
        row.retry_at = at + RETRY_DELAY * min(row.failures, 12)
        row.save(update_fields=["failures", "retry_at"])
        events = alerts.raise_unjudged(boiler=boiler, at=at)
        if events:
            record_and_tell(portfolio=boiler.portfolio_id, events=events, cause=Cause(who="sweep"), at=at)


def rebuild(*, at: datetime) -> int:
    """Judge every boiler from its first fact, one per transaction; return the rows written, 0 where all was up to date.

    Nothing kept in memory is used, so incremental judgements are checked against complete ones.
    """
    rows_written = 0
    for boiler_id in Boiler.objects.order_by("id").values_list("id", flat=True):
        forget_boilers()
        with transaction.atomic():
            conclusions = conclude_boilers(lock_boilers([boiler_id]), at=at, cause=Cause(who="rebuild"))
            rows_written += sum(d.written for d in conclusions)
    return rows_written
