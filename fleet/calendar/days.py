"""Which local day an instant belongs to, and the instant at which a local day begins."""

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo


def day_of(instant: datetime, zone: str) -> date:
    """Return the local day of `instant` (aware, any zone) in the IANA `zone`.

    ValueError for a naive instant or an unknown zone.
    """
    if instant.utcoffset() is None:
        raise ValueError(f"an instant needs a time zone: {instant.isoformat()}")
    return instant.astimezone(_load_zone(zone)).date()


@lru_cache(8_192)
def day_start(day: date, zone: str) -> datetime:
    """Return the UTC instant at which the local `day` begins in the IANA `zone`: its first existing instant.

    A midnight that happens twice counts the first time. A day the zone skipped starts where the next one begins.
    ValueError for an unknown zone; OverflowError within a day of either end of `datetime` (years 1 and 9999).
    """
    midnight = datetime.combine(day, time(), tzinfo=_load_zone(zone))
    before = midnight.astimezone(UTC)
    repeated_midnight = midnight.replace(fold=1)
    if repeated_midnight.utcoffset() == midnight.utcoffset():
        return before
    after = repeated_midnight.astimezone(UTC)
    # Outside clock changes the two readings of a wall time agree. In a repeated hour the first one is earlier.
    # Only in a gap is the reading by the old offset the later one (PEP 495).
    if before <= after:
        return before
    return _first_instant_on(day, zone, after, before)


def _first_instant_on(day: date, zone: str, low: datetime, high: datetime) -> datetime:
    """Find the clock change in (`low`, `high`] by halving: `low` is still before `day`, `high` no longer is.

    Midnight itself is not the answer in a gap such as 23:30 to 00:30 (Toronto 1919). Offsets are whole seconds.
    """
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
        low, high = (low, middle) if day_of(middle, zone) >= day else (middle, high)
    return high


def _load_zone(name: str) -> ZoneInfo:
    """Return the IANA zone `name`. Any invalid name raises ValueError with the name in it."""
    try:
        return ZoneInfo(name)
    # ZoneInfo raises OSError for the name of a folder ("America"), KeyError for an unknown name, ValueError for a path.
    except (KeyError, OSError, ValueError) as error:
        raise ValueError(f"unknown time zone: {name!r}") from error
