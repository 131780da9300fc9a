"""Wake a task by name once the transaction has committed: never waits for the broker, never fails the request."""

import logging

from celery import Celery, current_app
from django.db import transaction

log = logging.getLogger(__name__)


def wake(name: str) -> None:
    """Ask for a run of the task `name` after commit; a broker that is away loses nothing, the sweep comes anyway."""
    transaction.on_commit(lambda: send(name, current_app))


def send(name: str, app: Celery) -> None:
    """Send the wake-up now, once: whatever the broker's client raises is logged and forgotten."""
    try:
        app.send_task(name, retry=False, ignore_result=True, expires=60)
    except Exception:
        log.warning("could not wake %s; the sweep will come by itself", name)
