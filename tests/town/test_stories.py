"""The town by itself: pure, the same for the same seed, and nothing told that could not have been."""

import hashlib
import json
import subprocess
import sys
from collections import Counter
from dataclasses import asdict
from datetime import UTC, datetime, timedelta

import pytest

from fleet.management.town.defects import DEFECTS
from fleet.management.town.incidents import INCIDENTS
from fleet.management.town.story_values import Story
from fleet.management.town.town import TownSize, make_stories
from fleet.management.town.troubles import TROUBLES
from tests.town.town import NOW, SEED, SMALL, stories

LOAD = """
import importlib, pkgutil, sys
room = importlib.import_module("fleet.management.town")
names = [found.name for found in pkgutil.walk_packages(room.__path__, room.__name__ + ".")]
for name in names:
    importlib.import_module(name)
foreign = {"django", "rest_framework", "celery", "psycopg", "numpy", "socket", "fleet.settings"}
print(len(names), sorted(foreign & set(sys.modules)))
"""
TINY = TownSize(houses=2, years=1)


def digest(told: list[Story]) -> str:
    text = json.dumps([asdict(story) for story in told], default=str, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def test_the_town_knows_no_framework_and_no_network() -> None:
    done = subprocess.run([sys.executable, "-c", LOAD], capture_output=True, text=True, check=True)
    count, _, foreign = done.stdout.partition(" ")
    assert int(count) > 12
    assert foreign.strip() == "[]"


def test_one_seed_tells_one_story_in_every_interpreter() -> None:
    here = "from tests.town.test_stories import *; print(digest(make_stories(3, NOW, TINY)))"
    done = subprocess.run([sys.executable, "-c", here], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == digest(make_stories(3, NOW, TINY))


def test_another_seed_tells_another() -> None:
    assert digest(make_stories(3, NOW, TINY)) != digest(make_stories(4, NOW, TINY))


def test_a_town_of_full_size_has_what_was_asked_for() -> None:
    told = make_stories(7, NOW)
    boilers = [b for story in told for b in story.boilers.values()]
    assert sum(len(story.houses) for story in told) == 54  # and the six of Sorrelgate
    assert len(boilers) == 72
    assert {48} <= {h.units for s in told for h in s.houses}
    assert {p.kind for b in boilers for p in b.places.values()} >= {"float_cutoff", "probe_cutoff"}
    assert {b.values["fuel"] for b in boilers} == {"natural_gas", "oil_2", "propane"}
    assert any(b.values.get("heats") == "no" for b in boilers)
    assert {len(b.filled_refs("siphon-1", "siphon-2")) for b in boilers} == {1, 2}
    assert {len(b.filled_refs("valve", "valve-2")) for b in boilers} == {1, 2}


def test_everything_that_can_happen_happens() -> None:
    happened = {f.trouble for story in stories() for f in story.truth}
    assert {t.code for t in TROUBLES} | {i.code for i in INCIDENTS} | set(DEFECTS) <= happened
    assert {"slip_of_the_pen"} <= happened


def test_failures_are_found_and_lost() -> None:
    how = Counter(f.how for story in stories() for f in story.truth)
    assert how["found"] > 60
    assert how["lost"] >= 1


def test_visits_come_late_and_twice_and_corrected_and_wait_for_a_second_name() -> None:
    visits = [v for story in stories() for v in story.visits]
    corrections = [v for v in visits if v.corrects]
    assert any(v.posted_at - v.at > timedelta(days=2) for v in visits)
    assert any(v.again_at for v in visits)
    assert corrections
    assert any(v.second is None for v in corrections)


def test_nothing_is_told_before_it_was_done_or_after_now() -> None:
    for story in stories():
        for visit in story.visits:
            ended = visit.at + timedelta(minutes=max((line.minute for line in visit.lines), default=0))
            assert ended < visit.posted_at < NOW, visit.key


def test_a_failure_is_found_after_it_began_and_put_right_no_sooner() -> None:
    for failure in (f for story in stories() for f in story.truth):
        assert failure.found_at is None or failure.found_at >= failure.failed_at
        assert failure.repaired_at is None or failure.repaired_at >= failure.failed_at


@pytest.mark.parametrize("month", range(1, 13))
def test_the_town_can_be_told_on_any_day_of_the_year(month: int) -> None:
    now = datetime(2027, month, 28, 3, 0, tzinfo=UTC)
    told = make_stories(SEED, now, SMALL)
    assert {t.code for t in TROUBLES} <= {f.trouble for story in told for f in story.truth}
