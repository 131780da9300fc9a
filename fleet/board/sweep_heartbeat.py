"""When the sweep last ran, in the cache that all processes share. Unknown without a shared cache, or after a day."""

import logging
from datetime import datetime

from django.core.cache import cache

CACHE_KEY, CACHE_SECONDS = "swept-at", 86_400
log = logging.getLogger(__name__)


def note_sweep(at: datetime) -> None:
    """Note a sweep. A failing cache is logged and does not stop the sweep."""
    try:
        cache.set(CACHE_KEY, at.isoformat(), CACHE_SECONDS)
    except Exception:
        log.warning("the sweep could not be noted")


def last_sweep_at() -> datetime | None:
    """Return when the last sweep ran, None where that is unknown."""
    try:
        noted_at = datetime.fromisoformat(cache.get(CACHE_KEY))
    except Exception:  # no answer, no mark, or something that is no time
        return None
    return noted_at if noted_at.tzinfo else None  # a time without its zone was not noted here
