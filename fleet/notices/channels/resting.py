"""When a failing destination is tried again, when it rests, and when the next one is told instead. PURE.

Time, chance and what happened before come in as arguments.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from fleet.notices.channels.contract import DeliveryOutcome

FIRST_DELAY = timedelta(minutes=1)
MAX_DELAY = timedelta(hours=1)
JITTER = 0.25  # a delay is longer or shorter by up to this share, so that what failed together does not return together
FAILURES_BEFORE_REST = 5  # of one destination in a row, whatever the notices
FAILURES_BEFORE_NEXT = 3  # of one notice at one destination
FAILURES_BEFORE_NEXT_IN_DANGER = 1
# With these the next destination is told. An unknown outcome counts: told twice is better than told by nobody.
UNCONFIRMED = (DeliveryOutcome.FAILED, DeliveryOutcome.UNKNOWN)


def backoff_delay(failures: int, chance: float) -> timedelta:
    """Return how long to wait after so many failures in a row, at least 1 of them; `chance` is from 0 up to 1.

    About a minute after the first, then twice as long each time, never more than MAX_DELAY.
    """
    longest_plain = MAX_DELAY / (1 + JITTER)  # so that the longest delays differ as well
    doublings = min(failures - 1, 20)  # beyond it the bound holds anyhow, and the number would not
    plain = min(FIRST_DELAY * 2.0**doublings, longest_plain)
    return plain * (1 - JITTER + 2 * JITTER * chance)


def next_attempt_at(at: datetime, failures: int, chance: float, retry_after: timedelta | None) -> datetime:
    """Return when to try again after a failure at `at`: not before the receiver asked for, within MAX_DELAY."""
    pause = min(retry_after or timedelta(0), MAX_DELAY)
    return at + max(backoff_delay(failures, chance), pause)


def rest_ends_at(failures: int, last_failed_at: datetime) -> datetime | None:
    """Return until when a destination rests, None where it does not.

    `failures`: in a row, of any notice. Then one notice is tried, and another failure begins the next rest.
    """
    return last_failed_at + MAX_DELAY if failures >= FAILURES_BEFORE_REST else None


def is_resting(rests_until: datetime | None, at: datetime) -> bool:
    """Return whether a destination rests at `at`; at the end of its rest it does not."""
    return rests_until is not None and at < rests_until


def falls_over(outcomes: Sequence[DeliveryOutcome], *, is_danger: bool) -> bool:
    """Return whether the person's next destination is told, by what came of a notice's attempts at this one.

    A refusal at once; failures after the third, of danger after the first. Once it was sent, never.
    """
    if DeliveryOutcome.SENT in outcomes:
        return False
    if DeliveryOutcome.REFUSED in outcomes:
        return True
    enough = FAILURES_BEFORE_NEXT_IN_DANGER if is_danger else FAILURES_BEFORE_NEXT
    return sum(outcome in UNCONFIRMED for outcome in outcomes) >= enough
