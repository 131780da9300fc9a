"""A small town for the tests: everything that can happen happens in it, in some seventeen months."""

from datetime import UTC, datetime
from functools import cache

from fleet.management.town.story_values import Story
from fleet.management.town.town import TownSize, make_stories

NOW = datetime(2026, 1, 14, 16, 20, tzinfo=UTC)  # a Wednesday in January, before noon at the boilers
SEED, SMALL = 11, TownSize(houses=5, years=1.4)


@cache
def stories() -> list[Story]:
    """Told once: nothing changes them."""
    return make_stories(SEED, NOW, SMALL)
