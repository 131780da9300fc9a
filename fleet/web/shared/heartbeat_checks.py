"""The lines of the self-check about what works by itself: beat, worker, sweep, delivery, and the watcher outside."""

from collections.abc import Iterator, Mapping
from datetime import datetime

from django.conf import settings

from fleet.heartbeats.models import Heartbeat
from fleet.heartbeats.services import (
    BEAT,
    DELIVERY,
    LATE_AFTER,
    SWEEP,
    WATCHER_CALLED,
    WATCHER_FAILED,
    WORKER,
    is_on_time,
    read_heartbeats,
)
from fleet.heartbeats.watcher_call import late_parts
from fleet.web.shared.system_check import BEHIND, WELL, WRONG, SystemCheck

CONSEQUENCES = {
    BEAT: "Nothing is done by itself while it stands still. Boards stay correct. Alerts and jobs are not updated.",
    WORKER: "Boards stay correct. Alerts and jobs are not updated while it stands still.",
    SWEEP: "Boards stay correct. Alerts and jobs are not updated while none runs.",
    DELIVERY: "Nobody is told anything by it while it stands still. Alerts are raised and shown all the same.",
}
EVERY_SECONDS = "It is seen every 30 seconds while all is well."


def check_heartbeats(at: datetime) -> Iterator[SystemCheck]:
    """Yield one check for each part and one for the watcher, from one query."""
    heartbeats = read_heartbeats()
    for part, consequence in CONSEQUENCES.items():
        yield _check_part(part.capitalize(), heartbeats.get(part), consequence, at)
    yield check_watcher(heartbeats, at)


def _check_part(name: str, heartbeat: Heartbeat | None, consequence: str, at: datetime) -> SystemCheck:
    if heartbeat is None:
        return SystemCheck(name, WRONG, "Not known to run", f"It was never seen. {consequence}")
    seen_at = heartbeat.seen_at
    if is_on_time(heartbeat, at):
        return SystemCheck(name, WELL, says="Runs", sentence=f"{EVERY_SECONDS} Last seen:", at=seen_at)
    if seen_at > at:
        sentence = f"It was seen later than it is now: the clock was moved back. {consequence} Last seen:"
        return SystemCheck(name, WRONG, says="Not known to run", sentence=sentence, at=seen_at)
    return SystemCheck(
        name, WRONG, says="Stands still", sentence=f"{EVERY_SECONDS} {consequence} Last seen:", at=seen_at
    )


def check_watcher(heartbeats: Mapping[str, Heartbeat], at: datetime) -> SystemCheck:
    """Check whether the watcher outside is called. Its address stays unsaid: it may hold a secret."""
    if not settings.WATCHER_URL:
        return SystemCheck("Watcher", WELL, "None is set", "Nobody outside hears of it if all of this stops.")
    called, failed = heartbeats.get(WATCHER_CALLED), heartbeats.get(WATCHER_FAILED)
    if failed is not None and (called is None or failed.seen_at > called.seen_at):
        sentence = f"The last call failed ({failed.detail}). The watcher takes it for silence. Last try:"
        return SystemCheck("Watcher", WRONG, says="Calls fail", sentence=sentence, at=failed.seen_at)
    if called is not None and is_on_time(called, at):
        sentence = "It is called every minute while nothing above is late. Last call:"
        return SystemCheck("Watcher", WELL, says="Is called", sentence=sentence, at=called.seen_at)
    return _silent_watcher(heartbeats, called, at)


def _silent_watcher(heartbeats: Mapping[str, Heartbeat], called: Heartbeat | None, at: datetime) -> SystemCheck:
    late_names = ", ".join(late_parts(heartbeats, at))
    reason = f"It is not called while a part is late ({late_names})." if late_names else "No call was made."
    minutes = int(LATE_AFTER.total_seconds() // 60)
    sentence = f"{reason} Whoever watches from outside hears silence."
    if called is None:
        return SystemCheck("Watcher", BEHIND, says="Not called yet", sentence=sentence)
    says = f"Not called for over {minutes} minutes"
    return SystemCheck("Watcher", WRONG, says=says, sentence=f"{sentence} Last call:", at=called.seen_at)
