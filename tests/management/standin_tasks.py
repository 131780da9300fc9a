"""The tasks of the stand-in site; apart from it, since to load the task library takes as long as all else it does."""

import os
from pathlib import Path

from celery import Celery

app = Celery("standin", broker=os.environ.get("REDIS_URL"))
app.conf.update(
    task_ignore_result=True, broker_connection_retry_on_startup=True, beat_scheduler="celery.beat:Scheduler"
)


@app.task
def touch(path: str) -> None:
    """Leave a file, so that a test sees the task arrived."""
    Path(path).touch()
