"""Which answer speaks beside a hold: that of the visit which brought it, until another visit answers for the boiler."""

from datetime import timedelta

import pytest

from fleet.rules.answers.one_event import say_once
from fleet.rules.values import Condition, MissingItem
from tests.rules.build import LEFT_RIGHT, Boiler, act, at, proof, remove

LATE = proof("limit", trip_psi=13.5)


def hold(boiler: Boiler) -> Condition:
    return [c for c in boiler.judged().conditions if c.condition == "hold" and c.since >= at(0)][-1]


def against(boiler: Boiler) -> list[tuple[object, object]]:
    return [(c.since, c.until) for c in boiler.judged().conditions if c.condition == "against_firing"]


def test_the_lines_of_a_hold_end_with_the_next_answer_about_the_boiler() -> None:
    boiler = Boiler().service().visit(1, LATE, act("valve", "repair"))
    assert any("safety valve" in line for line in hold(boiler).lines)
    assert hold(boiler.visit(2, act("upper", "adjust"))).lines == ()
    assert against(boiler) == [(at(2), None)]


def test_a_visit_that_had_nothing_in_hand_leaves_the_lines_as_they_are() -> None:
    boiler = Boiler().service().visit(1, LATE, act("valve", "repair")).visit(2, proof("upper", "flush"))
    assert any("safety valve" in line for line in hold(boiler).lines)


def test_an_answer_given_once_the_hold_is_over_is_none_of_its_lines() -> None:
    boiler = Boiler().service().visit(1, LATE, act("valve", "repair"))
    boiler.visit(2, act("limit", "repair"), proof("limit")).visit(3, act("upper", "adjust"))
    assert hold(boiler).until == at(2) + timedelta(minutes=1)
    assert against(boiler)[-1] == (at(3), None)


def test_a_device_taken_off_brings_a_hold_of_its_own_visit_and_of_no_other() -> None:
    boiler = Boiler().service().visit(1, remove("valve"), act("upper", "adjust"))
    assert any("upper cutoff" in line for line in hold(boiler).lines)
    assert hold(boiler.visit(2, act("control", "adjust"))).lines == ()
    assert against(boiler) == [(at(2), None)]


def test_two_visits_at_one_instant_the_hold_is_of_the_one_that_found_it() -> None:
    boiler = Boiler().service().visit(1, act("valve", "repair"), leave=LEFT_RIGHT).visit(1, LATE, leave=LEFT_RIGHT)
    found, brought = boiler.judged(), hold(boiler)
    assert [r.visit for r in found.readiness][-2:] == [boiler.visits[-2].id, boiler.visits[-1].id]
    assert brought.sentence.startswith("The high limit tripped only at 13.5 psi.")


@pytest.mark.parametrize(
    ("sentences", "said"),
    [
        (["X."], ("X.",)),
        (["X.", "X."], ("X.",)),
        (["X. (Thu 16 Oct 2025)", "Hold open since Thu 16 Oct 2025: X."], ("Hold open since Thu 16 Oct 2025: X.",)),
        (["Hold open since Thu 16 Oct 2025: X.", "X. (Thu 16 Oct 2025)"], ("Hold open since Thu 16 Oct 2025: X.",)),
        (["X.", "Hold open: Y."], ("X.", "Hold open: Y.")),
        (["X (a) b.", "Hold open: X."], ("X (a) b.", "Hold open: X.")),
    ],
)
def test_each_thing_is_said_once(sentences: list[str], said: tuple[str, ...]) -> None:
    assert say_once(MissingItem("hold", sentence) for sentence in sentences) == said
