"""The town's heating season and local times."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fleet.management.town.words import ZONE

STARTS, ENDS = (10, 1), (5, 31)
_HERE = ZoneInfo(ZONE)


def clock(day: date, hour: int, minute: int = 0) -> datetime:
    """Return a local time of the town, in UTC."""
    return datetime.combine(day, time(hour, minute), _HERE).astimezone(UTC)


def day_of(at: datetime) -> date:
    """Return the local day of an instant."""
    return at.astimezone(_HERE).date()


def minute(at: datetime) -> datetime:
    """Return the instant rounded down to the minute."""
    return at.replace(second=0, microsecond=0)


def daytime(at: datetime) -> datetime:
    """Return the instant if it is in daytime (7:00 to 15:59), else the same minute of the next 8 o'clock hour."""
    here = at.astimezone(_HERE)
    if 7 <= here.hour < 16:
        return minute(at)
    return clock(day_of(at) + timedelta(days=here.hour >= 16), 8, here.minute)


def workday(day: date) -> date:
    """Return the day, or the Monday after a weekend day."""
    return day + timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)


def years(since: date, until: date) -> range:
    """Return the calendar years between two days, both included."""
    return range(since.year, until.year + 1)
