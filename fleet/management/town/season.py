"""The heating season as the town's people know it, and local times."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fleet.management.town.words import ZONE

STARTS, ENDS = (10, 1), (5, 31)
_HERE = ZoneInfo(ZONE)


def clock(day: date, hour: int, minute: int = 0) -> datetime:
    """A local time of the town, in UTC."""
    return datetime.combine(day, time(hour, minute), _HERE).astimezone(UTC)


def day_of(at: datetime) -> date:
    """The town's day."""
    return at.astimezone(_HERE).date()


def minute(at: datetime) -> datetime:
    """As it is written down."""
    return at.replace(second=0, microsecond=0)


def daytime(at: datetime) -> datetime:
    """This instant, or the same minute of the next working morning."""
    here = at.astimezone(_HERE)
    if 7 <= here.hour < 16:
        return minute(at)
    return clock(day_of(at) + timedelta(days=here.hour >= 16), 8, here.minute)


def workday(day: date) -> date:
    """This day, or the Monday after it."""
    return day + timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)


def years(since: date, until: date) -> range:
    """The years whose season start or end may lie between two days."""
    return range(since.year, until.year + 1)
