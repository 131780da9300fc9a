"""Noting and reading heartbeats. They are in the database, so that they outlast a broker that was wiped."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from fleet.heartbeats.models import Heartbeat

BEAT, WORKER, SWEEP, DELIVERY = "beat", "worker", "sweep", "delivery"
PARTS = (BEAT, WORKER, SWEEP, DELIVERY)  # each is seen every half minute while all is well
WATCHER_CALLED, WATCHER_FAILED = "watcher_called", "watcher_failed"
LATE_AFTER = timedelta(minutes=2)


def note_heartbeat(part: str, at: datetime, detail: str = "") -> None:
    """Note that a part was seen at work at `at`, over what was noted before, even where that is later.

    A clock that was an hour fast and was mended leaves an instant an hour ahead, which must not stand for an hour.
    """
    row = Heartbeat(part=part, seen_at=at, detail=detail[:80])
    Heartbeat.objects.bulk_create(
        [row], update_conflicts=True, unique_fields=["part"], update_fields=["seen_at", "detail"]
    )


def note_scheduled_work(part: str, *, sent_at: datetime | None, at: datetime) -> None:
    """Note a part that did what beat sent it to do, and beat itself as of when it sent it. None: beat did not."""
    note_heartbeat(part, at)
    if sent_at is not None:
        note_heartbeat(BEAT, sent_at)


def read_heartbeats() -> Mapping[str, Heartbeat]:
    """Return every heartbeat by its part, in one query. A part never seen is not there."""
    return Heartbeat.objects.in_bulk()


def is_on_time(heartbeat: Heartbeat | None, at: datetime) -> bool:
    """Return whether a part was seen within two minutes of `at`, on either side: a clock may have been moved back."""
    return heartbeat is not None and abs(at - heartbeat.seen_at) <= LATE_AFTER
