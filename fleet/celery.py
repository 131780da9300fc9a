"""The Celery app. Every setting that makes it survive killed workers is in `fleet/settings.py`."""

from typing import Any

from celery import Celery
from celery.signals import setup_logging

app = Celery("fleet")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["fleet"])


@setup_logging.connect
def leave_the_log_alone(**_: Any) -> None:
    """Worker and beat tell in the lines that the settings describe, in no form of their own."""
