"""Which places are counted on: protections but those that may be left out, and other places where the register says."""

from dataclasses import replace

import pytest

from fleet.rules import judge
from fleet.rules.replay.evidence_replay import replay_evidence, value_types
from fleet.rules.timeline.replay_cache import ReplayCache
from fleet.rules.values import FiringAnswer, ServiceMode
from tests.rules.build import LEFT_RIGHT, Boiler, act, at, ident, proof, remove
from tests.rules.plant import MORE, Plant

ALWAYS, MAY_BE_NONE = ("upper", "lower", "limit", "valve", "flame", "fuel"), ("spill", "alarm")
PROTECTIONS = (*ALWAYS, *MAY_BE_NONE)
OTHERS = ("chamber", "siphon_a", "siphon_b", "control", *(m[0] for m in MORE if m[0] not in PROTECTIONS))


def is_counted(ref: str, needed: bool | None, boiler: Boiler) -> bool:
    if needed is not None:
        boiler.sets(5, ref, "needed", needed)
    ledger = replay_evidence(boiler.evidence()).ledger
    return ledger.is_needed(ledger.records[ident(ref)])


@pytest.mark.parametrize("ref", PROTECTIONS)
@pytest.mark.parametrize("needed", [None, True, False])
def test_a_protection_is_counted_on_unless_the_register_says_no_of_one_that_may_be_left_out(
    ref: str, needed: bool | None
) -> None:
    assert is_counted(ref, needed, Plant()) is not (ref in MAY_BE_NONE and needed is False)


@pytest.mark.parametrize("ref", OTHERS)
@pytest.mark.parametrize("needed", [None, True, False])
def test_any_other_place_is_counted_on_only_where_the_register_says(ref: str, needed: bool | None) -> None:
    assert is_counted(ref, needed, Plant()) is (needed is True)


@pytest.mark.parametrize(("ref", "spared"), [("spill", True), ("alarm", True), ("valve", False), ("limit", False)])
def test_an_empty_place_is_left_out_only_where_such_a_boiler_may_do_without(ref: str, spared: bool) -> None:
    assert is_counted(ref, False, Plant().service().visit(1, remove(ref))) is not spared


@pytest.mark.parametrize(("count", "counted"), [(None, True), (2.0, True), (1.0, False)])
def test_an_upper_cutoff_is_counted_on_unless_one_is_enough(count: float | None, counted: bool) -> None:
    boiler = Boiler() if count is None else Boiler().sets(-30, None, "cutoffs_needed", count)
    assert is_counted("upper", None, boiler) is counted
    assert is_counted("lower", None, boiler)


def test_one_cutoff_is_enough_only_while_the_one_that_locks_out_is_there() -> None:
    boiler = Boiler().sets(-30, None, "cutoffs_needed", 1.0).visit(1, remove("lower"))
    assert is_counted("upper", None, boiler)


def test_yes_and_one_are_different_facts_of_a_register() -> None:
    said_yes, said_one = Boiler().sets(1, "limit", "mark", True), Boiler().sets(1, "limit", "mark", 1.0)
    assert said_yes.evidence() == said_one.evidence()
    assert value_types(said_yes.evidence()) != value_types(said_one.evidence())
    assert bool in value_types(said_yes.evidence())


def test_a_register_whose_yes_became_one_is_judged_anew() -> None:
    cache = ReplayCache()
    yes, one = (Boiler().service().sets(1, None, "cutoffs_needed", value).evidence() for value in (True, 1.0))
    assert judge(yes, (), at(9), cache) == judge(yes, (), at(9))
    assert judge(one, (), at(9), cache) == judge(one, (), at(9)) != judge(yes, (), at(9))


def test_what_is_stamped_counts_among_the_values_of_a_register() -> None:
    evidence = Boiler().evidence()
    stamped = [replace(f, attributes={**f.attributes, "mark": True}) for f in evidence.fittings]
    assert len(value_types(replace(evidence, fittings=tuple(stamped)))) == len(value_types(evidence)) + len(stamped)


def spans_against(boiler: Boiler) -> list[tuple[object, object]]:
    return [(c.since, c.until) for c in boiler.judged().conditions if c.condition == "against_firing"]


def test_what_stands_against_firing_is_told_while_the_boiler_is_off_too() -> None:
    boiler = Boiler().service().visit(1, act("limit", "adjust"), leave=LEFT_RIGHT).goes(2, ServiceMode.LAID_UP_WET)
    assert boiler.ready().answer is FiringAnswer.SOMETHING_DOES
    assert spans_against(boiler) == [(at(1), None)]


def test_what_was_only_not_examined_is_silent_while_the_boiler_is_off() -> None:
    boiler = Boiler().service().goes(20, ServiceMode.LAID_UP_WET).goes(30, ServiceMode.IN_SERVICE)
    boiler.visit(10, proof("limit"), leave=LEFT_RIGHT)
    assert boiler.ready().answer is FiringAnswer.NOT_EXAMINED
    assert spans_against(boiler)[-2:] == [(at(10), at(20)), (at(30), None)]
