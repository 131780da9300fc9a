"""Retries of writes that failed by a lock timeout, a deadlock or a simultaneous duplicate."""

import time
from collections.abc import Callable
from typing import TypeVar

from django.db import IntegrityError, OperationalError

T = TypeVar("T")
MAX_TRIES = 3


def run_with_retries(write: Callable[[], T]) -> T:
    """Run an atomic write up to three times. The last error is raised (answered with 503 for a lock)."""
    for attempt in range(MAX_TRIES - 1):
        try:
            return write()
        except (OperationalError, IntegrityError):
            # Two posts of one id at two boilers collide in the table. The retry then finds the other and reports it.
            time.sleep(0.05 * (attempt + 1))
    return write()
