"""Recording changes and writing the notices that follow from them, in one transaction, under the portfolio's pulse."""

import logging
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.alerts import services as alerts
from fleet.board import services as board
from fleet.notices import calling, digests, slips
from fleet.notices.call_list.recipients import is_set_up_to_tell
from fleet.notices.silence import silence_conditions
from fleet.pipeline.portfolio_conditions import clamp_to_written_alerts, try_to_lock_pulse
from fleet.portfolio.models import Portfolio
from fleet.records.events import Cause, ChangeEvent
from fleet.wake import wake_task

DELIVER_TASK = "fleet.tasks.deliver"
CALLING_EVENTS = frozenset({"alert.raised", "alert.rose", "alert.shown_again"})
ENDING_EVENTS = frozenset({"alert.returned", "alert.withdrawn"})
log = logging.getLogger(__name__)


def record_and_tell(*, portfolio: UUID, events: Sequence[ChangeEvent], cause: Cause, at: datetime) -> None:
    """Record the events of a write, and write the notices that they cause. Locks the pulse, the last lock of all."""
    board.record_changes(portfolio=portfolio, events=events, cause=cause, at=at)
    called = {event.subject for event in events if event.kind in CALLING_EVENTS}
    jobs = {event.subject for event in events if event.kind in slips.CHANGE_KINDS}
    has_ended = any(event.kind in ENDING_EVENTS for event in events)
    if not (called or jobs or has_ended):
        return
    notice_count = slips.tell_jobs(jobs=jobs, at=at) if jobs else 0
    notice_count += calling.call_people(portfolio=portfolio, at=at, alerts=called) if called else 0
    notice_count += calling.tell_returns(portfolio=portfolio, at=at) if has_ended else 0
    if notice_count:
        wake_task(DELIVER_TASK)


def sweep_notices(*, at: datetime) -> int:
    """Write what time alone asks for: next steps of calls, digests, evening slips, and the alert that nobody is told.

    One portfolio per transaction; one that fails stops no other, and the next sweep tries again.
    """
    notice_count = 0
    for portfolio in Portfolio.objects.order_by("id").values_list("id", flat=True):
        if is_set_up_to_tell(portfolio, at) or alerts.is_silence_raised(portfolio):
            try:
                with transaction.atomic():
                    notice_count += _sweep_portfolio(portfolio, at)
            except Exception:
                log.exception("notices of portfolio %s could not be written", portfolio)
    return notice_count


def _sweep_portfolio(portfolio: UUID, at: datetime) -> int:
    if not try_to_lock_pulse(portfolio):  # somebody writes there now; the next sweep comes soon
        return 0
    at = clamp_to_written_alerts(portfolio, at)
    reconciled = alerts.reconcile_silence(portfolio=portfolio, conditions=silence_conditions(portfolio, at), at=at)
    if reconciled.events:
        board.record_changes(portfolio=portfolio, events=reconciled.events, cause=Cause(who="sweep"), at=at)
    notice_count = calling.call_people(portfolio=portfolio, at=at)
    notice_count += calling.tell_returns(portfolio=portfolio, at=at)
    notice_count += slips.tell_tomorrow(portfolio=portfolio, at=at)
    notice_count += digests.write_digests(portfolio=portfolio, at=at)
    if notice_count:
        wake_task(DELIVER_TASK)
    return notice_count
