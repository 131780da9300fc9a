"""A judgement that goes on from the last one is the judgement that one of everything anew would be."""

import random
from dataclasses import replace
from unittest import mock
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.rules import judge
from fleet.rules.timeline import replay_cache
from fleet.rules.timeline.replay_cache import ReplayCache
from fleet.rules.values import Evidence, ServiceMode, VisitFact
from tests.rules.build import Boiler, at, proof, turn
from tests.rules.plant import proof as whole_proof
from tests.rules.stories import stories

LATEST = at(900)


def corrected(visit: VisitFact, mix: random.Random) -> VisitFact:
    """A restatement: some of its lines are gone, or it never was; a second name stands under it, or none."""
    entries = tuple(e for e in visit.entries if mix.random() < 0.6)
    number = UUID(int=mix.getrandbits(128))
    return replace(
        visit, id=number, entries=entries, corrects=visit.id, void=mix.random() < 0.2, seconded=mix.random() < 0.3
    )


def known_by(evidence: Evidence, visits: list[VisitFact], whole: bool) -> Evidence:
    """What was known when these visits were: with all of the register, or with as much as was true by then."""
    if whole:
        return replace(evidence, visits=tuple(visits))
    end = max((e.at for v in visits for e in v.entries), default=at(-30))
    return replace(
        evidence,
        visits=tuple(visits),
        settings=tuple(s for s in evidence.settings if s.since <= end),
        services=tuple(s for s in evidence.services if s.since <= end),
        terms=tuple(t for t in evidence.terms if t.since is None or t.since <= end),
    )


@settings(deadline=None)
@given(stories(), st.randoms(use_true_random=False))
def test_told_step_by_step_a_story_is_judged_as_if_told_at_once(boiler: Boiler, mix: random.Random) -> None:
    evidence, before, known = boiler.evidence(), ReplayCache(), list[VisitFact]()
    coming = sorted(evidence.visits, key=lambda v: v.at)
    if len(coming) > 1 and mix.random() < 0.3:  # one is posted late
        coming.append(coming.pop(mix.randrange(len(coming))))
    whole = mix.random() < 0.3
    while coming:
        known.append(coming.pop(0))
        if mix.random() < 0.2:
            coming.insert(mix.randrange(len(coming) + 1), corrected(known[-1], mix))
        now = known_by(evidence, known, whole)
        assert judge(now, (), LATEST, before) == judge(now, (), LATEST)


def weeks(count: int) -> Boiler:
    """A boiler with a service and a flush in each of so many weeks."""
    boiler = Boiler()
    boiler.service(0)
    for week in range(1, count + 1):
        boiler.visit(7 * week, proof("upper", "flush"), who="operator")
    return boiler


def replayed(evidence: Evidence, before: ReplayCache) -> int:
    """How many histories are replayed from their beginning for this judgement; that it is right goes without saying."""
    with mock.patch.object(replay_cache, "replay_evidence", side_effect=replay_cache.replay_evidence) as whole:
        found = judge(evidence, (), LATEST, before)
    assert found == judge(evidence, (), LATEST)
    return whole.call_count


@pytest.mark.parametrize("who", ["operator", "technician"])
def test_what_is_done_last_is_all_that_is_replayed(who: str) -> None:
    boiler, before = weeks(5), ReplayCache()
    assert replayed(boiler.evidence(), before) == 1
    boiler.visit(42, proof("upper", "flush", burner_stopped=False), who=who)
    assert replayed(boiler.evidence(), before) == 0
    boiler.visit(43, proof("upper", "flush"), who="technician")
    assert replayed(boiler.evidence(), before) == 0


def test_of_the_very_same_nothing_is_judged_twice() -> None:
    boiler, before = weeks(5), ReplayCache()
    first = judge(boiler.evidence(), (), LATEST, before)
    assert judge(boiler.evidence(), (), at(1_000), before) is first


@pytest.mark.parametrize("days", [20.0, 35.0, 35.001])
def test_a_visit_before_or_at_the_newest_instant_is_replayed_with_all_the_others(days: float) -> None:
    boiler, before = weeks(5), ReplayCache()
    judge(boiler.evidence(), (), LATEST, before)
    boiler.visit(days, proof("lower", "evaporation"))
    assert replayed(boiler.evidence(), before) == (days <= 35)


@pytest.mark.parametrize("number", [1, 2**128 - 1])
def test_what_was_done_at_the_newest_instant_is_no_later_fact_wherever_it_stands_in_the_order(number: int) -> None:
    boiler, before = weeks(5), ReplayCache()
    judge(boiler.evidence(), (), LATEST, before)
    newest = max(e.at for v in boiler.visits for e in v.entries)
    boiler.visit(36, proof("lower", "evaporation", burner_stopped=False))
    entries = tuple(replace(e, at=newest) for e in boiler.visits[-1].entries)
    boiler.visits[-1] = replace(boiler.visits[-1], id=UUID(int=number), at=newest, entries=entries)
    assert replayed(boiler.evidence(), before) == 1


def test_another_word_of_the_register_is_replayed_with_all_that_it_bears_on() -> None:
    boiler, before = weeks(5), ReplayCache()
    judge(boiler.evidence(), (), LATEST, before)
    boiler.goes(50, ServiceMode.LAID_UP_WET)
    assert replayed(boiler.evidence(), before) == 1


def test_a_visit_that_is_no_longer_what_it_was_is_replayed() -> None:
    boiler, before = weeks(5), ReplayCache()
    judge(boiler.evidence(), (), LATEST, before)
    boiler.visits[-1] = replace(boiler.visits[-1], qualifications=frozenset())
    assert replayed(boiler.evidence(), before) == 1


def test_while_a_correction_waits_both_readings_of_the_history_go_on() -> None:
    boiler, before = weeks(5), ReplayCache()
    boiler.visit(40, proof("upper", "flush", burner_stopped=False), who="operator")
    good = replace(proof("upper", "flush"), at=boiler.visits[-1].entries[0].at)
    boiler.visits.append(replace(boiler.visits[-1], id=UUID(int=7), entries=(good,), corrects=boiler.visits[-1].id))
    assert judge(boiler.evidence(), (), LATEST, before).waiting == (UUID(int=7),)
    boiler.visit(47, proof("lower", "flush"), who="operator")
    assert replayed(boiler.evidence(), before) == 0


def test_the_set_pressure_that_time_makes_unproven_does_not_stand_in_the_way_of_what_follows() -> None:
    boiler, before = weeks(60), ReplayCache()
    rules = {d.rule for d in judge(boiler.evidence(), (), LATEST, before).deficiencies}
    assert "set_pressure_unproven" in rules
    boiler.visit(430, whole_proof("valve", "pop_test"), who="valve_shop")
    assert replayed(boiler.evidence(), before) == 0


def test_what_is_said_of_a_failure_later_is_said_of_all_of_its_time() -> None:
    boiler, before = Boiler(), ReplayCache()
    boiler.sets(-30, "valve", "capacity_lb_h", 500.0)
    boiler.sets(-30, None, "output_btu_h", 900_000.0)
    boiler.service(0).visit(5, whole_proof("valve", "accumulation_test", outcome="fail"))
    boiler.visit(6, proof("valve", "lever_lift", lifted=False))
    judge(boiler.evidence(), (), LATEST, before)
    boiler.visit(10, turn("valve", capacity_lb_h=400.0))  # short by another figure, while it is down for being short
    assert replayed(boiler.evidence(), before) == 0


@pytest.mark.parametrize("value", [1, 1.0])
def test_a_yes_that_becomes_a_number_is_another_word_of_the_register(value: float) -> None:
    boiler, before = weeks(2), ReplayCache()
    boiler.sets(1, "upper", "needed", True)
    first = judge(boiler.evidence(), (), LATEST, before)
    boiler.settings[-1] = replace(boiler.settings[-1], value=value)
    assert boiler.settings[-1].value == 1  # and so equal to the yes before
    assert replayed(boiler.evidence(), before) == 1
    assert judge(boiler.evidence(), (), LATEST, before) is not first
