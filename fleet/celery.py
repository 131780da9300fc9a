"""The Celery app. The settings that let it survive killed workers are in `fleet/settings.py`."""

import gc

from celery import Celery
from celery.signals import setup_logging, worker_before_create_process

app = Celery("fleet")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["fleet"])


@setup_logging.connect
def skip_default_logging(**_: object) -> None:
    """Keep Celery from setting up its own logging: worker and beat use the logging of the Django settings."""


@worker_before_create_process.connect
def share_loaded_memory(**_: object) -> None:
    """Keep the collector of garbage off what is loaded by now, so that each process of a worker shares its memory.

    The collector writes into each object that it looks at, and what is written to is no longer shared.
    """
    gc.collect()
    gc.freeze()
