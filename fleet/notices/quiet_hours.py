"""Quiet hours: when something that does not interrupt may be sent. Local times, across midnight and clock changes."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo


def end_of_quiet(at: datetime, quiet_from: time | None, quiet_until: time | None, zone: str) -> datetime:
    """Return `at` where nothing is quiet then, else the instant at which the quiet hours end.

    Quiet runs from the first local time up to the second, across midnight where that is the earlier one; equal times
    are no quiet hours. Where the end falls into an hour that the clock skips, they end as that hour would begin. Where
    it comes twice, they end the first time: a message comes rather an hour too soon than too late.
    """
    if quiet_from is None or quiet_until is None or quiet_from == quiet_until:
        return at
    tz = ZoneInfo(zone)
    local = at.astimezone(tz)
    clock = local.time()
    crosses = quiet_from > quiet_until
    is_quiet = (clock >= quiet_from or clock < quiet_until) if crosses else quiet_from <= clock < quiet_until
    if not is_quiet:
        return at
    day = local.date() + timedelta(days=1 if crosses and clock >= quiet_from else 0)
    wall = datetime.combine(day, quiet_until)
    end = wall.replace(tzinfo=tz, fold=0).astimezone(UTC)
    if end.astimezone(tz).replace(tzinfo=None) != wall:  # the clock skips it: the first minute after the skipped hour
        end = wall.replace(tzinfo=tz, fold=1).astimezone(UTC)
        while end.astimezone(tz).replace(tzinfo=None) < wall:
            end += timedelta(minutes=1)
    return max(end, at)
