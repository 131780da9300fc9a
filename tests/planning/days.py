"""Work, people and stops of one day, as the tests of planning write them."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from fleet.planning.day_values import DayPerson, DayWork, HeldSkill, PlannedStop
from fleet.planning.travel import HousePlace

ZONE = "America/New_York"
DAY = date(2026, 12, 1)
LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
NAMES = UUID("6f1c7a52-8f0e-4f0c-9a37-0d6b7f5a9a10")
# About 1.15 miles apart along a meridian: 8 minutes at 1.3 times the line and 12 miles an hour.
NEAR = (40.7000, -73.9500)
ONWARD = (40.7167, -73.9500)
TECHNICIAN = HeldSkill("technician", LONG_AGO)


def make_id(name: str) -> UUID:
    return uuid5(NAMES, name)


def local(clock: str, day: date = DAY, zone: str = ZONE) -> datetime:
    hour, minute = clock.split(":")
    return datetime(day.year, day.month, day.day, int(hour), int(minute), tzinfo=ZoneInfo(zone)).astimezone(UTC)


def house(name: str, place: tuple[float, float] | None = NEAR) -> HousePlace:
    return HousePlace(make_id(name), *(place or (None, None)))


def work(minutes: int = 60, at: HousePlace | None = None, **more: Any) -> DayWork:
    values = {"people": 1, "skills": frozenset({"technician"}), "windows": None, "zone": ZONE, **more}
    return DayWork("work", frozenset({make_id("work")}), at or house("quince"), minutes=minutes, **values)


def stop(begin: str, end: str, at: HousePlace | None = None, job: str = "") -> PlannedStop:
    return PlannedStop(make_id(job or begin), local(begin), local(end), at)


def person(name: str = "kemal", *stops: PlannedStop, **more: Any) -> DayPerson:
    return DayPerson(make_id(name), name.title(), stops=stops, **{"skills": (TECHNICIAN,), **more})


EVENING_BEFORE = local("18:00") - timedelta(days=1)
