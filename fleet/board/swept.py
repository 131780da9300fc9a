"""When the sweep last went round, kept where all processes see it; not known where none is shared, or after a day."""

import logging
from datetime import datetime

from django.core.cache import cache

KEY, KEPT = "swept-at", 86_400
log = logging.getLogger(__name__)


def note(at: datetime) -> None:
    """Note a sweep; what is kept of it never stops one."""
    try:
        cache.set(KEY, at, KEPT)
    except Exception:
        log.warning("the sweep could not be noted")


def last() -> datetime | None:
    """When it was, None where nobody knows."""
    try:
        found = cache.get(KEY)
    except Exception:
        return None
    return found if isinstance(found, datetime) else None
