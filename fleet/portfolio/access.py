"""When a building can be entered: time windows by weekday, written in one fixed notation.

"mon-fri 08:00-12:00,13:00-17:00; sat 09:00-12:00": days, then their windows; semicolons part the groups of days.
An empty text is no restriction. A weekday that is not named is closed. Times are local to the building; 24:00 ends a
day.
"""

import re
from collections.abc import Iterator, Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MAX_TEXT_LENGTH = 200
_PART = re.compile(r"(?P<first>[a-z]{3})(?:-(?P<last>[a-z]{3}))? (?P<windows>[0-9:,-]+)", re.ASCII)
_WINDOW = re.compile(r"(\d\d):(\d\d)-(\d\d):(\d\d)", re.ASCII)

Window = tuple[int, int]  # minutes of the day, from and to
Week = Mapping[int, tuple[Window, ...]]  # by weekday, Monday 0


def parse_access_hours(text: str) -> Week:
    """Return the windows of each open weekday. Raises ValueError, with a sentence, for a text in another notation."""
    week: dict[int, tuple[Window, ...]] = {}
    for part in text.split("; ") if text else ():
        match = _PART.fullmatch(part)
        if match is None:
            raise ValueError(f"{part!r} must be written like mon-fri 08:00-17:00")
        windows = tuple(_parse_windows(match["windows"]))
        for day in _weekday_range(match["first"], match["last"]):
            if day in week:
                raise ValueError(f"{WEEKDAYS[day]} is named twice")
            week[day] = windows
    return week


def access_hours_fault(text: str) -> str | None:
    """Return what is wrong with a text, in a sentence without its period; None where nothing is."""
    try:
        parse_access_hours(text)
    except ValueError as error:
        return str(error)
    return None


def _weekday_range(first: str, last: str | None) -> range:
    unknown = next((day for day in (first, last or first) if day not in WEEKDAYS), None)
    if unknown:
        raise ValueError(f"{unknown!r} is not a weekday: {', '.join(WEEKDAYS)}")
    begin, end = WEEKDAYS.index(first), WEEKDAYS.index(last or first)
    if last and end <= begin:
        raise ValueError(f"{first}-{last} runs backwards")
    return range(begin, end + 1)


def _parse_windows(text: str) -> Iterator[Window]:
    before = 0
    for window in text.split(","):
        match = _WINDOW.fullmatch(window)
        if match is None:
            raise ValueError(f"{window!r} must be written like 08:00-17:00")
        begin, end = _minute_of_day(match[1], match[2]), _minute_of_day(match[3], match[4])
        if not before <= begin < end:
            raise ValueError(f"{window} is not later than the time before it")
        yield begin, end
        before = end


def _minute_of_day(hour: str, minute: str) -> int:
    minutes = int(hour) * 60 + int(minute)
    if int(minute) > 59 or minutes > 24 * 60:
        raise ValueError(f"{hour}:{minute} is not a time of day")
    return minutes


def is_accessible(text: str, zone: str, since: datetime, until: datetime) -> bool:
    """Whether somebody can be in the building from `since` to `until`: both within one window of one local day."""
    week = parse_access_hours(text)
    if not text:
        return True
    begin, end = (t.astimezone(ZoneInfo(zone)) for t in (since, until))
    days = (end.date() - begin.date()).days
    last = end.hour * 60 + end.minute + bool(end.second or end.microsecond) + 24 * 60 * days
    first = begin.hour * 60 + begin.minute
    return any(opens <= first and last <= shuts for opens, shuts in week.get(begin.weekday(), ()))
