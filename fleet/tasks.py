"""Celery tasks. Each reads the clock and calls one function; `settings.CELERY_BEAT_SCHEDULE` schedules them.

The sweep records when it last ran, which shows that the worker is running.
"""

from uuid import UUID

from celery import shared_task
from django.utils import timezone

from fleet import pipeline
from fleet.accounts.purge import purge_expired as purge_accounts
from fleet.board import sweep_heartbeat
from fleet.notices.channels.registry import channels_in_use
from fleet.notices.delivery import deliver_next
from fleet.records.disk_room import has_room

MAX_NOTICES_PER_RUN = 200


@shared_task(name="fleet.tasks.sweep")
def sweep() -> None:
    """Judge what the passing of time has changed. Running twice, late or never is safe: the next run catches up."""
    at = timezone.now()
    if has_room():  # a page says what a full disk means, and the next run after it catches up
        pipeline.sweep(at=at)
        sweep_heartbeat.note_sweep(at)


@shared_task(name="fleet.tasks.imports")
def imports() -> None:
    """Compare and save the sheets that wait. Running twice, late or never is safe: interrupted work starts again."""
    if has_room():
        pipeline.work_on_imports(at=timezone.now())


@shared_task(name="fleet.tasks.purge")
def purge() -> None:
    """Delete data that is kept for a limited time only."""
    purge_accounts(at=timezone.now())


@shared_task(name="fleet.tasks.deliver")
def deliver() -> None:
    """Hand over the notices that are to be sent now. Running twice, late or never is safe: rows are claimed one by one.

    One that failed is not tried again in the same run, so a run ends.
    """
    tried: list[UUID] = []
    while len(tried) < MAX_NOTICES_PER_RUN:
        notice = deliver_next(channels=channels_in_use(), at=timezone.now(), but_not=tried)
        if notice is None:
            break
        tried.append(notice)
