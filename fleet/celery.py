"""The Celery app. Every setting that makes it survive killed workers is in `fleet/settings.py`."""

from celery import Celery

app = Celery("fleet")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["fleet"])
