"""The town's heating season and local times."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fleet.management.town.invented_names import ZONE

STARTS, ENDS = (10, 1), (5, 31)
_TOWN_ZONE = ZoneInfo(ZONE)


def local_time(day: date, hour: int, minute: int = 0) -> datetime:
    """Return a local time of the town, in UTC."""
    return datetime.combine(day, time(hour, minute), _TOWN_ZONE).astimezone(UTC)


def day_of(at: datetime) -> date:
    """Return the local day of an instant."""
    return at.astimezone(_TOWN_ZONE).date()


def to_minute(at: datetime) -> datetime:
    """Return the instant rounded down to the minute."""
    return at.replace(second=0, microsecond=0)


def next_daytime(at: datetime) -> datetime:
    """Return the instant if it is in daytime (7:00 to 15:59), else the same minute of the next 8 o'clock hour."""
    local = at.astimezone(_TOWN_ZONE)
    if 7 <= local.hour < 16:
        return to_minute(at)
    return local_time(day_of(at) + timedelta(days=local.hour >= 16), 8, local.minute)


def next_workday(day: date) -> date:
    """Return the day, or the Monday after a weekend day."""
    return day + timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)


def years_between(since: date, until: date) -> range:
    """Return the calendar years between two days, both included."""
    return range(since.year, until.year + 1)
