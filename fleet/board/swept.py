"""When the sweep last ran, in the cache that all processes share. Unknown without a shared cache, or after a day."""

import logging
from datetime import datetime

from django.core.cache import cache

KEY, KEPT = "swept-at", 86_400
log = logging.getLogger(__name__)


def note(at: datetime) -> None:
    """Note a sweep. A failing cache is logged and does not stop the sweep."""
    try:
        cache.set(KEY, at, KEPT)
    except Exception:
        log.warning("the sweep could not be noted")


def last() -> datetime | None:
    """Return when the last sweep ran, None where that is unknown."""
    try:
        found = cache.get(KEY)
    except Exception:
        return None
    return found if isinstance(found, datetime) else None
