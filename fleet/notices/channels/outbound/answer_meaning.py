"""What the status of an answer means for an attempt. PURE."""

from collections.abc import Collection
from datetime import datetime

from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult
from fleet.notices.channels.outbound.retry_time import read_retry_after

ASKS_FOR_PAUSE = (429, 503)


def read_status(status: int, retry_after: str, gone_statuses: Collection[int], at: datetime) -> DeliveryResult:
    """Return how an attempt ended; the statuses of `gone_statuses` say that the address is of no more use."""
    if 200 <= status < 300:
        return DeliveryResult(DeliveryOutcome.SENT, f"The receiver answered {status}.")
    if status in gone_statuses:
        return DeliveryResult(DeliveryOutcome.REFUSED, f"The receiver answered {status}: the address is gone for good.")
    if 300 <= status < 400:
        return DeliveryResult(DeliveryOutcome.FAILED, f"The receiver answered {status}: a redirect is not followed.")
    if status < 200:
        return DeliveryResult(DeliveryOutcome.UNKNOWN, f"The receiver answered {status} and nothing after it.")
    pause = read_retry_after(retry_after, at) if status in ASKS_FOR_PAUSE else None
    return DeliveryResult(DeliveryOutcome.FAILED, f"The receiver answered {status}.", pause)
