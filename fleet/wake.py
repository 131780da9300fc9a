"""Wake a task by name after the transaction commits. This never waits for the broker and never fails the request."""

import logging

from celery import Celery, current_app
from django.db import transaction

log = logging.getLogger(__name__)


def wake_task(name: str) -> None:
    """Request a run of the task `name` after commit. If the broker is away nothing is lost: the sweep runs anyway."""
    transaction.on_commit(lambda: send_wakeup(name, current_app))


def send_wakeup(name: str, app: Celery) -> None:
    """Send the wake-up now, once. Any error of the broker's client is logged and not raised."""
    try:
        app.send_task(name, retry=False, ignore_result=True, expires=60)
    except Exception:
        log.warning("could not wake %s; the sweep will come by itself", name)
