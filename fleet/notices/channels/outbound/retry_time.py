"""How long a receiver asks to be left alone: the header Retry-After (RFC 9110), bounded. PURE."""

import re
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

MAX_RETRY_AFTER = timedelta(hours=1)  # as long as the longest pause of the site's own


def read_retry_after(text: str, at: datetime) -> timedelta | None:
    """Return the pause that a header asks for, seconds or a date, from 0 to MAX_RETRY_AFTER; None for anything else."""
    if re.fullmatch(r"\d{1,9}", text.strip(), re.ASCII):
        return min(timedelta(seconds=int(text)), MAX_RETRY_AFTER)
    try:
        date = parsedate_to_datetime(text)
    except ValueError:
        return None
    aware = date if date.tzinfo else date.replace(tzinfo=UTC)
    return min(max(aware - at, timedelta(0)), MAX_RETRY_AFTER)
