"""Celery tasks: each reads the clock and calls one function. Scheduled in `settings.CELERY_BEAT_SCHEDULE`."""

from celery import shared_task
from django.utils import timezone

from fleet import pipeline


@shared_task(name="fleet.tasks.sweep")
def sweep() -> None:
    """Judge what time alone has changed. Twice, late or never: the next run leaves the same conclusions."""
    pipeline.sweep(at=timezone.now())
