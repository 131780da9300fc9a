"""Stories that several tests of a file begin with: told once in a process, then put back as rows with their fleet."""

from collections import defaultdict
from collections.abc import Callable
from typing import Any

import pytest

from fleet.pipeline import memory
from tests import kept
from tests.cast import Fleet, make_fleet

Tell = Callable[[Fleet], Any]

_BY_MODULE: dict[str, dict[str, Tell]] = defaultdict(dict)


def story(tell: Tell) -> Any:
    """Return a fixture, the fleet after `tell`; what `tell` itself returns is not kept.

    Of a test that asks for several, they are told in the order of the file. A story is told by what the database and
    its arguments say alone: nothing may be patched for it, and no clock read.
    """
    _BY_MODULE[tell.__module__][tell.__name__] = tell

    def told(fleet: Fleet) -> Fleet:
        return fleet

    told.__doc__ = tell.__doc__
    return pytest.fixture(name=tell.__name__)(told)


def fleet_for(request: pytest.FixtureRequest) -> Fleet:
    """Return Sorrelgate Homes after the stories that the test of `request` asks for."""
    stories = _BY_MODULE[request.module.__name__]
    asked = [name for name in stories if name in request.fixturenames]
    if not asked:
        return make_fleet()
    memory.forget_boilers()

    def tell_all() -> Fleet:
        fleet = make_fleet()
        for name in asked:
            stories[name](fleet)
        memory.forget_boilers()  # so that the first test asks the database no less than the next ones
        return fleet

    return kept.once((request.module.__name__, *asked), tell_all)
