"""Times as people give them in a form: local ones of a building."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.calendar import day_start


def instant(text: str, zone: str) -> datetime | None:
    """A local time of the building. One that its clock leaves out is none; of one it shows twice the first is meant."""
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        return None
    if local.tzinfo is not None or not 2000 <= local.year <= 2100:
        return None
    placed = local.replace(tzinfo=ZoneInfo(zone))
    there = placed.astimezone(ZoneInfo("UTC"))
    return there if there.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == local else None


def end_of(text: str, zone: str) -> datetime | None:
    """The end of a local day: "until 3 March" holds through the whole of it."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day_start(day + timedelta(days=1), zone) if 2000 <= day.year <= 2100 else None
