"""What a wing of the rules offers by name is there: a star import of it takes every name."""

import importlib
import pkgutil

import pytest

import fleet.rules

WINGS = sorted({m.name for m in pkgutil.walk_packages(fleet.rules.__path__, "fleet.rules.")} | {"fleet.rules"})
OFFERING = [name for name in WINGS if hasattr(importlib.import_module(name), "__all__")]


@pytest.mark.parametrize("wing", OFFERING)
def test_every_name_that_a_wing_offers_is_there(wing: str) -> None:
    module = importlib.import_module(wing)
    assert [name for name in module.__all__ if not hasattr(module, name)] == []


def test_the_room_offers_the_judge_and_the_build_it_stamps_on_what_it_says() -> None:
    assert {"judge", "VERSION", "BUILD", "ReplayCache"} == set(fleet.rules.__all__)
