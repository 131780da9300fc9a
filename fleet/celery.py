"""The Celery app. The settings that let it survive killed workers are in `fleet/settings.py`."""

from celery import Celery
from celery.signals import setup_logging

app = Celery("fleet")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["fleet"])


@setup_logging.connect
def skip_default_logging(**_: object) -> None:
    """Keep Celery from setting up its own logging: worker and beat use the logging of the Django settings."""
