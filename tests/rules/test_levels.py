"""The class of a deficiency in time: what failed itself is a hold until proven, whatever else stands beside it."""

from dataclasses import replace
from datetime import datetime

import pytest

from fleet.rules.values import AdoptedTerms, EntryFact, Level
from tests.rules.build import Boiler, act, at, ident, local, proof, see

BAD = proof("upper", burner_stopped=False)
FAILURES = [
    ("lowering_no_trip", (BAD, proof("lower"))),
    ("limit_failed", (proof("limit", trip_psi=13.5), proof("valve"))),
    ("siphon_plugged", (proof("siphon_b", passes_water=False), proof("valve"))),
    ("lower_cutoff_restarts", (proof("upper"), proof("lower", locked_out=False))),
    ("jumper_found", (see("upper", "jumper_found"), proof("lower"))),
]


def classes(boiler: Boiler, rule: str) -> set[Level]:
    (deficiency,) = [d for d in boiler.judged().deficiencies if d.rule == rule]
    return {segment.level for segment in deficiency.levels}


@pytest.mark.parametrize(("rule", "entries"), FAILURES, ids=[rule for rule, _ in FAILURES])
def test_what_failed_stays_a_hold_though_the_second_protection_passed_in_the_same_visit(
    rule: str, entries: tuple[EntryFact, ...]
) -> None:
    assert classes(Boiler().service().visit(1, *entries), rule) == {Level.HOLD}


def test_the_hold_ends_when_the_repair_is_proven() -> None:
    boiler = Boiler().service().visit(1, BAD, proof("lower")).visit(1.5, act("upper", "repair"), proof("upper"))
    (deficiency,) = [d for d in boiler.judged().deficiencies if d.rule == "lowering_no_trip"]
    assert deficiency.levels[-1].until == deficiency.closed_at is not None


def test_no_answer_says_that_a_boiler_may_run() -> None:
    ready = Boiler().service().visit(1, BAD, proof("lower")).ready()
    assert ready.answer == "something_does"
    assert not [m for m in ready.missing if "may run" in m.sentence]


def unproven(seen: float) -> list[tuple[datetime, Level]]:
    boiler = Boiler().visit(seen, proof("valve"))
    boiler.fittings = [replace(f, since=at(-1000)) if f.position == ident("valve") else f for f in boiler.fittings]
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "set_pressure_unproven"]
    return [(s.since, s.level) for s in found.levels]


def test_a_set_pressure_not_proven_is_routine_in_its_first_season_and_urgent_after() -> None:
    assert unproven(0) == [(at(0), Level.ROUTINE), (local(at(350).date().replace(month=10, day=1)), Level.URGENT)]


def test_before_dated_first_terms_begin_it_is_the_first_that_reach_back() -> None:
    first, later = AdoptedTerms(at(10), None, urgent_days=3), AdoptedTerms(at(20), None)
    evidence = replace(Boiler().evidence(), terms=(later, first))
    assert [evidence.terms_at(t) for t in (None, at(5), at(10), at(19), at(20))] == [first] * 4 + [later]
