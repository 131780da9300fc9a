"""Wake a task by name once the transaction has committed: never waits for the broker, never fails the request."""

import logging

from celery import current_app
from django.db import transaction

log = logging.getLogger(__name__)


def wake(name: str) -> None:
    """Ask for a run of the task `name` after commit; a broker that is away loses nothing, the sweep comes anyway."""
    transaction.on_commit(lambda: _send(name))


def _send(name: str) -> None:
    try:
        current_app.send_task(name, retry=False, ignore_result=True, expires=60)
    except Exception:  # whatever the broker client raises: a wake-up is a courtesy
        log.warning("could not wake %s; the sweep will come by itself", name)
