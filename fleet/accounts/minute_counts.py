"""Counters of one minute, by which the doors limit requests.

They are in the cache, one for each whole minute. If the cache is down, nothing is limited and that is logged.
"""

import logging
import math
from datetime import datetime

from django.core.cache import cache

WINDOW_SECONDS = 60

log = logging.getLogger(__name__)


def increment_count(counter: str, at: datetime) -> int:
    """Add one to a counter of this minute and return it; 0 where the cache does not answer."""
    cache_key = _cache_key(counter, at)
    try:
        cache.add(cache_key, 0, 2 * WINDOW_SECONDS)
        return int(cache.incr(cache_key))
    except Exception:  # any error of a cache client: a result from the field matters more than a limit
        log.warning("the cache does not answer: nothing is limited")
        return 0


def read_count(counter: str, at: datetime) -> int:
    """Return a counter of this minute; 0 where the cache does not answer."""
    try:
        return int(cache.get(_cache_key(counter, at), 0))
    except Exception:  # as above
        log.warning("the cache does not answer: nothing is limited")
        return 0


def seconds_left(at: datetime) -> int:
    """Return the whole seconds until the next minute begins, at least one."""
    return math.ceil(WINDOW_SECONDS - at.timestamp() % WINDOW_SECONDS)


def _cache_key(counter: str, at: datetime) -> str:
    return f"{counter}:{int(at.timestamp()) // WINDOW_SECONDS}"
