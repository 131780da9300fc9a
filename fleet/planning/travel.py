"""Travel between two houses: the straight line, made longer by a road factor, at the speed of a van in town."""

from dataclasses import dataclass
from math import asin, ceil, cos, radians, sin, sqrt
from uuid import UUID

EARTH_RADIUS_MILES = 3958.8  # mean radius
ROAD_FACTOR = 1.3  # streets are about a third longer than the straight line (common practice)
TOWN_SPEED_MPH = 12.0  # a van in town, with lights and the search for a place to stand (common practice)
UNKNOWN_MINUTES = 20  # taken where a place is not on record (common practice); the cell says that it is not known


@dataclass(frozen=True, slots=True)
class HousePlace:
    """Where a building stands, in degrees; None where that is not on record."""

    building: UUID
    latitude: float | None = None
    longitude: float | None = None

    @property
    def is_known(self) -> bool:
        """Whether both coordinates are on record."""
        return self.latitude is not None and self.longitude is not None


@dataclass(frozen=True, slots=True)
class Travel:
    """Whole minutes of travel, and whether they were computed from places on record."""

    minutes: int
    is_known: bool = True


NO_TRAVEL = Travel(0)
UNKNOWN_TRAVEL = Travel(UNKNOWN_MINUTES, is_known=False)


def travel_between(start: HousePlace | None, end: HousePlace | None) -> Travel:
    """Return the travel from one house to another; none within a house, UNKNOWN_MINUTES where a place is not known."""
    if start is not None and end is not None and start.building == end.building:
        return NO_TRAVEL
    if start is None or end is None or not (start.is_known and end.is_known):
        return UNKNOWN_TRAVEL
    return Travel(ceil(straight_miles(start, end) * ROAD_FACTOR / TOWN_SPEED_MPH * 60))


def straight_miles(start: HousePlace, end: HousePlace) -> float:
    """Return the length of the great circle between two known places, in miles (haversine formula)."""
    assert start.latitude is not None
    assert start.longitude is not None
    assert end.latitude is not None
    assert end.longitude is not None
    first, second = radians(start.latitude), radians(end.latitude)
    across = sin((second - first) / 2) ** 2
    along = cos(first) * cos(second) * sin(radians(end.longitude - start.longitude) / 2) ** 2
    return 2 * EARTH_RADIUS_MILES * asin(sqrt(min(across + along, 1.0)))
