"""A write that met a lock held too long, a deadlock or a twin of itself is tried again before anybody hears of it."""

import time
from collections.abc import Callable
from typing import TypeVar

from django.db import IntegrityError, OperationalError

T = TypeVar("T")
TRIES = 3


def retried(write: Callable[[], T]) -> T:
    """Run a write that keeps all or nothing, up to three times; what still fails then is raised (503 for a lock)."""
    for attempt in range(TRIES - 1):
        try:
            return write()
        except (OperationalError, IntegrityError):
            # Two posts of one id at two boilers meet in the table: the second then finds the first and says so.
            time.sleep(0.05 * (attempt + 1))
    return write()
