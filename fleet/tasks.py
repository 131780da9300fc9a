"""Celery tasks. Each reads the clock and calls one function; `settings.CELERY_BEAT_SCHEDULE` schedules them.

The sweep records when it last ran, which shows that the worker is running.
"""

from celery import shared_task
from django.utils import timezone

from fleet import pipeline
from fleet.accounts.purge import purge_expired as purge_accounts
from fleet.board import sweep_heartbeat
from fleet.records.disk_room import has_room


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
