"""Celery tasks: each reads the clock and calls one function. Scheduled in `settings.CELERY_BEAT_SCHEDULE`.

The sweep leaves its mark, by which the worker is known to run.
"""

from celery import shared_task
from django.utils import timezone

from fleet import pipeline
from fleet.accounts.purge import purge as purge_accounts
from fleet.board import swept


@shared_task(name="fleet.tasks.sweep")
def sweep() -> None:
    """Judge what time alone has changed. Twice, late or never: the next run leaves the same conclusions."""
    at = timezone.now()
    pipeline.sweep(at=at)
    swept.note(at)


@shared_task(name="fleet.tasks.imports")
def imports() -> None:
    """Compare and save the sheets that wait for it. Twice, late or never: what was in hand is begun again."""
    pipeline.work_on_imports(at=timezone.now())


@shared_task(name="fleet.tasks.purge")
def purge() -> None:
    """Remove what is kept for a while only."""
    purge_accounts(at=timezone.now())
