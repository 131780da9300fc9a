"""When the sweep last ran, in the cache that all processes share. Unknown without a shared cache, or after a day."""

import logging
from datetime import datetime

from django.core.cache import cache

CACHE_KEY, CACHE_SECONDS = "swept-at", 86_400
log = logging.getLogger(__name__)


def note_sweep(at: datetime) -> None:
    """Note a sweep. A failing cache is logged and does not stop the sweep."""
    try:
        cache.set(CACHE_KEY, at, CACHE_SECONDS)
    except Exception:
        log.warning("the sweep could not be noted")


def last_sweep_at() -> datetime | None:
    """Return when the last sweep ran, None where that is unknown."""
    try:
        noted_at = cache.get(CACHE_KEY)
    except Exception:
        return None
    return noted_at if isinstance(noted_at, datetime) else None
