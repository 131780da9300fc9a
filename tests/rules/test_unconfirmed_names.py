"""Names that nobody confirmed, for the rules: what they say of them, and which visits wait for whom."""

from dataclasses import replace
from uuid import UUID

import pytest

from fleet.rules import judge
from fleet.rules.values import Evidence, Judgement, UnconfirmedName, WaitingNames
from tests.rules.build import Boiler, at, ident, proof

NORA = UUID(int=7)
TECHNICIAN = frozenset({"technician"})


def judged(boiler: Boiler, *visits: int, codes: frozenset[str] = TECHNICIAN) -> Judgement:
    """What follows where these visits name Nora, who has not said a word."""
    whole = boiler.evidence()
    names = (UnconfirmedName(NORA, codes),)
    told = tuple(replace(v, unconfirmed=names) if n in visits else v for n, v in enumerate(whole.visits))
    return judge(replace(whole, visits=told), (), at(400))


def test_a_visit_waits_for_who_is_named_and_counts_as_what_stands_behind_it() -> None:
    boiler = Boiler().service().visit(1, proof("upper"), who="operator").visit(2, proof("limit"), who="")
    assert judged(boiler, 1, 2).waiting_names == (
        WaitingNames(ident("v1"), (NORA,), ("operator",)),
        WaitingNames(ident("v2"), (NORA,), ()),
    )
    assert judged(boiler).waiting_names == ()


def test_a_neighbours_visit_waits_at_the_neighbours() -> None:
    boiler = Boiler().service().visit(1, proof("upper"), who="")
    boiler.visits[1] = replace(boiler.visits[1], of_this_boiler=False)
    assert judged(boiler, 1).waiting_names == ()


def test_a_visit_that_a_correction_took_the_place_of_waits_no_more() -> None:
    boiler = Boiler().service().visit(1, proof("upper"), who="").visit(1, proof("upper"), who="")
    boiler.visits[2] = replace(boiler.visits[2], corrects=ident("v1"))
    assert [names.visit for names in judged(boiler, 1, 2).waiting_names] == [ident("v2")]


@pytest.mark.parametrize(
    ("codes", "said"),
    [(TECHNICIAN, "is named and has not seconded the visit"), (frozenset({"utility"}), "Nobody present may prove it")],
)
def test_a_pass_says_why_it_proves_nothing(codes: frozenset[str], said: str) -> None:
    boiler = Boiler().service().visit(1, proof("limit"), who="")
    (verdict,) = [v for v in judged(boiler, 1, codes=codes).verdicts if v.entry == ident("1/0")]
    assert verdict.proves == ""
    assert said in verdict.sentence


def test_a_name_that_nobody_confirmed_changes_nothing_else() -> None:
    boiler = Boiler().service().visit(1, proof("upper", burner_stopped=False), who="").visit(2, proof("upper"), who="")
    assert _without_names(judged(boiler, 1, 2, codes=frozenset({"utility"}))) == _without_names(judged(boiler))


def _without_names(judgement: Judgement) -> Judgement:
    return replace(judgement, waiting_names=())


def test_evidence_that_asks_nobody_is_as_it_was() -> None:
    evidence: Evidence = Boiler().service().evidence()
    assert all(visit.unconfirmed == () for visit in evidence.visits)
