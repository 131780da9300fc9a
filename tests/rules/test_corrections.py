"""A correction out of a hold has no effect until a second qualified person stands behind it; others count at once."""

import random
from dataclasses import replace
from typing import Any

import pytest

from fleet.rules.values import EntryFact, Standing, VisitFact
from tests.rules.build import Boiler, at, ident, proof, see
from tests.rules.test_properties import judged

KEEPS_FIRING = proof("upper", "flush", burner_stopped=False)
NO_WATER = proof("upper", "flush", water="none")
GOOD = proof("upper", "flush")


def corrected(first: EntryFact, *entries: EntryFact, **more: Any) -> Boiler:
    """A served boiler, a visit on day 1, and the visit that restates it (as void where it has no entries)."""
    boiler = Boiler().service().visit(1, first)
    return restated(boiler, boiler.visits[-1], *entries, **more)


def restated(boiler: Boiler, old: VisitFact, *entries: EntryFact, **more: Any) -> Boiler:
    boiler.visit(1, *entries)
    boiler.visits[-1] = replace(boiler.visits[-1], corrects=old.id, void=not entries, **more)
    return boiler


def stands(boiler: Boiler) -> Standing:
    return judged(boiler.evidence()).standings[-1].standing


def at_the_visit(boiler: Boiler) -> Standing:
    """On day 1, an hour after it."""
    return boiler.standing(1.1)


@pytest.mark.parametrize(
    ("restatement", "waits"),
    [
        ((GOOD,), True),
        ((), True),  # void
        ((NO_WATER,), True),  # another place would be on hold: which one it was is to be seconded too
        ((KEEPS_FIRING, see("upper", "leaking")), False),  # nothing is lifted
    ],
)
def test_a_correction_waits_exactly_where_it_would_lift_a_hold(restatement: tuple[EntryFact, ...], waits: bool) -> None:
    boiler = corrected(KEEPS_FIRING, *restatement)
    assert bool(boiler.judged().waiting) == waits
    assert at_the_visit(boiler) is Standing.HOLD


@pytest.mark.parametrize("restatement", [(GOOD,), ()])
def test_a_second_qualified_name_makes_it_count(restatement: tuple[EntryFact, ...]) -> None:
    boiler = corrected(KEEPS_FIRING, *restatement, seconded=True)
    assert (boiler.judged().waiting, boiler.open()) == ((), [])


def test_a_correction_that_brings_bad_news_counts_at_once() -> None:
    boiler = corrected(GOOD, KEEPS_FIRING)
    assert (boiler.judged().waiting, at_the_visit(boiler)) == ((), Standing.HOLD)


def test_a_correction_of_what_is_no_hold_counts_at_once() -> None:
    boiler = corrected(proof("control", trip_psi=7.5), proof("control"))
    assert (boiler.judged().waiting, boiler.open()) == ((), [])


def test_once_the_hold_is_closed_by_its_proof_the_correction_lifts_nothing_and_counts() -> None:
    boiler = corrected(KEEPS_FIRING, GOOD)
    assert len(boiler.judged().waiting) == 1
    boiler.visit(2, see("upper", "cause_found"), proof("upper", "slow_drain"))
    boiler.visit(3, proof("upper", "slow_drain")).visit(4, proof("upper", "slow_drain"))
    assert (boiler.judged().waiting, boiler.open()) == ((), [])


def test_of_two_corrections_only_the_one_that_lifts_a_hold_waits() -> None:
    boiler = corrected(KEEPS_FIRING, GOOD)
    boiler.visit(2, proof("control", trip_psi=7.5))
    old = boiler.visits[-1]
    boiler = restated(boiler, old, proof("control"))
    assert boiler.judged().waiting == (boiler.visits[2].id,)
    assert boiler.open() == ["flush_keeps_firing"]


def test_a_waiting_correction_may_itself_be_corrected_to_one_that_lifts_nothing() -> None:
    boiler = corrected(KEEPS_FIRING, GOOD)
    boiler = restated(boiler, boiler.visits[-1], KEEPS_FIRING, see("upper", "leaking"))
    assert boiler.judged().waiting == ()
    assert "flush_keeps_firing" in boiler.open()


def test_nothing_is_concluded_from_a_waiting_correction_or_from_what_was_restated() -> None:
    waiting, done = corrected(KEEPS_FIRING, GOOD), corrected(KEEPS_FIRING, GOOD, seconded=True)
    assert {v.entry for v in waiting.judged().verdicts} & {e.id for e in waiting.visits[-1].entries} == set()
    assert {v.entry for v in done.judged().verdicts} & {e.id for e in done.visits[-2].entries} == set()


def test_the_order_in_which_corrections_are_handed_in_changes_nothing() -> None:
    boiler = restated(corrected(KEEPS_FIRING, GOOD), ident_visit(), NO_WATER)
    evidence, mix = boiler.evidence(), random.Random(7)
    for _ in range(12):
        visits = mix.sample(evidence.visits, len(evidence.visits))
        assert judged(replace(evidence, visits=tuple(visits))) == judged(evidence)


def ident_visit() -> VisitFact:
    """A visit of another house: its restatement begins a chain of its own."""
    return VisitFact(ident("elsewhere"), "routine_check", at(1), at(1), ())


@pytest.mark.parametrize("days", [(1, 2), (2, 1)])
def test_of_two_corrections_out_of_one_hold_the_one_of_the_later_visit_waits(days: tuple[float, float]) -> None:
    boiler, said = Boiler().service(), {}
    for day in days:
        boiler.visit(day, KEEPS_FIRING)
        old = boiler.visits[-1]
        boiler.visit(day, GOOD)
        boiler.visits[-1] = replace(boiler.visits[-1], corrects=old.id)
        said[day] = boiler.visits[-1].id
    assert boiler.judged().waiting == (said[2],)
    assert boiler.open() == ["flush_keeps_firing"]


def test_corrections_that_together_lift_no_hold_all_count() -> None:
    boiler = corrected(KEEPS_FIRING, GOOD).visit(2, GOOD)
    boiler = restated(boiler, boiler.visits[-1], KEEPS_FIRING)
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "flush_keeps_firing"]
    assert (boiler.judged().waiting, found.entry) == ((), boiler.visits[-1].entries[0].id)


def test_what_waits_leaves_the_last_restatement_that_somebody_stood_behind() -> None:
    boiler = corrected(KEEPS_FIRING, NO_WATER, seconded=True)
    boiler = restated(boiler, boiler.visits[-1], GOOD)
    assert boiler.judged().waiting == (boiler.visits[-1].id,)
    assert boiler.open() == ["flush_no_water"]
