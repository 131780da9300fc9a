"""Local times of a building, as people type them into a form and read them on a page."""

from datetime import datetime
from zoneinfo import ZoneInfo


def parse_local_instant(text: str, zone: str) -> datetime | None:
    """Return the instant of a local time of the building; None if unreadable or outside the years 2000 to 2100.

    A time that a clock change skips gives None; of a time that occurs twice the first is meant.
    """
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        return None
    if local.tzinfo is not None or not 2000 <= local.year <= 2100:
        return None
    zoned = local.replace(tzinfo=ZoneInfo(zone))
    utc_instant = zoned.astimezone(ZoneInfo("UTC"))
    return utc_instant if utc_instant.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == local else None


def day_and_time(at: datetime, zone: str) -> str:
    """Return day and time in the building's zone, as in "Tue 24 Nov 2026, 10:42 EST"."""
    return at.astimezone(ZoneInfo(zone)).strftime("%a %d %b %Y, %H:%M %Z")
