"""Celery tasks. Each reads the clock and calls one function; `settings.CELERY_BEAT_SCHEDULE` schedules them.

What beat sends carries the instant at which it was sent. So a task that ran tells of beat and of its worker.
"""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from celery import Task, shared_task
from celery.signals import beat_init, before_task_publish
from django.conf import settings
from django.utils import timezone

from fleet import pipeline
from fleet.accounts.purge import purge_expired as purge_accounts
from fleet.board import sweep_heartbeat
from fleet.heartbeats import services as heartbeats
from fleet.heartbeats.watcher_call import call_watcher_if_well
from fleet.notices.channels.registry import channels_in_use
from fleet.notices.delivery import deliver_next
from fleet.records.disk_room import has_room

MAX_NOTICES_PER_RUN = 200
DELIVERY_RUN = timedelta(seconds=20)  # in which a run begins attempts
SENT_AT = "sent_by_beat_at"  # a header of what beat sends


@beat_init.connect
def stamp_what_beat_sends(**_: object) -> None:
    """Have each message carry when it was sent. Only beat comes here: what the site wakes says nothing of beat."""
    before_task_publish.connect(stamp_message, dispatch_uid="when beat sent it")


def stamp_message(headers: dict[str, Any], **_: object) -> None:
    """Write into the headers of a message when it was sent."""
    headers[SENT_AT] = timezone.now().isoformat()


def read_stamp(task: "Task[..., None]") -> datetime | None:
    """Return when beat sent what this task now does, None where somebody else sent it."""
    stamp = (task.request.headers or {}).get(SENT_AT)
    return datetime.fromisoformat(stamp) if stamp else None


@shared_task(name="fleet.tasks.sweep")
def sweep() -> None:
    """Judge what the passing of time has changed. Running twice, late or never is safe: the next run catches up."""
    at = timezone.now()
    if has_room():  # a page says what a full disk means, and the next run after it catches up
        pipeline.sweep(at=at)
        sweep_heartbeat.note_sweep(at)
        heartbeats.note_heartbeat(heartbeats.SWEEP, at)


@shared_task(name="fleet.tasks.imports")
def imports() -> None:
    """Compare and save the sheets that wait. Running twice, late or never is safe: interrupted work starts again."""
    if has_room():
        pipeline.work_on_imports(at=timezone.now())


@shared_task(name="fleet.tasks.purge")
def purge() -> None:
    """Delete data that is kept for a limited time only."""
    purge_accounts(at=timezone.now())


@shared_task(name="fleet.tasks.note_worker", bind=True)
def note_worker(self: "Task[..., None]") -> None:
    """Note that the worker of the sweep runs, and that beat sent for it."""
    if has_room():
        heartbeats.note_scheduled_work(heartbeats.WORKER, sent_at=read_stamp(self), at=timezone.now())


@shared_task(name="fleet.tasks.note_delivery", bind=True)
def note_delivery(self: "Task[..., None]") -> None:
    """Note that the queue of the notices is served, and that beat sent for it."""
    if has_room():
        heartbeats.note_scheduled_work(heartbeats.DELIVERY, sent_at=read_stamp(self), at=timezone.now())


@shared_task(name="fleet.tasks.call_watcher", time_limit=30)
def call_watcher() -> None:
    """Call the watcher outside, while nothing here is late. The limit ends a look-up of its name that hangs."""
    if settings.WATCHER_URL and has_room():
        call_watcher_if_well(settings.WATCHER_URL, at=timezone.now())


@shared_task(name="fleet.tasks.deliver")
def deliver() -> None:
    """Hand over the notices that are to be sent now. Running twice, late or never is safe: rows are claimed one by one.

    That it runs shows that its queue is served, also where so much waits there that nothing else gets its turn. A full
    disk could not record what was sent.
    """
    at = timezone.now()
    if has_room():
        heartbeats.note_heartbeat(heartbeats.DELIVERY, at)
        deliver_until(at + DELIVERY_RUN)


def deliver_until(begins_until: datetime) -> None:
    """Try each notice once that is to be sent now. One that failed is not tried again in the same run.

    A run ends soon, also where every receiver is slow: the next one goes on, and the watcher is not kept waiting.
    """
    tried: list[UUID] = []
    while len(tried) < MAX_NOTICES_PER_RUN and (at := timezone.now()) < begins_until and has_room():
        notice = deliver_next(channels=channels_in_use(), at=at, but_not=tried)
        if notice is None:
            break
        tried.append(notice)
