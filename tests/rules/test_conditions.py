"""What somebody should know: since when, until when, once for one thing."""

from datetime import date, datetime, timedelta

import pytest

from fleet.rules.values import Condition, ServiceMode
from tests.rules.build import LEFT_RIGHT, Boiler, act, at, ident, local, proof, see


def named(boiler: Boiler, name: str, ref: str = "") -> list[Condition]:
    subject = ident(ref) if ref else None
    found = boiler.judged().conditions
    return [c for c in found if c.condition == name and (subject is None or c.subject == subject)]


def test_a_lapse_is_told_from_its_boundary_and_not_from_when_it_was_noticed() -> None:
    (condition,) = named(Boiler().service(), "lapsed", "limit")
    assert (condition.since, condition.until) == (local(date(2026, 10, 31)), None)


def test_going_from_service_to_standby_does_not_tell_the_same_thing_twice() -> None:
    boiler = Boiler().service().goes(20, ServiceMode.HOT_STANDBY).goes(21, ServiceMode.IN_SERVICE)
    (condition,) = named(boiler, "due", "upper")
    # Due on the 22nd; three days of grace time the reminder.
    assert condition.since == local(date(2025, 10, 25))


def test_a_lapse_is_silent_while_the_boiler_is_laid_up() -> None:
    boiler = Boiler().service().goes(20, ServiceMode.LAID_UP_WET)
    (condition,) = named(boiler, "due", "upper")
    assert condition.until == at(20)


def test_a_hold_holds_until_it_is_repaired_and_proven() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5))
    boiler.visit(2, act("limit", "repair"), proof("limit"), leave=LEFT_RIGHT)
    (condition,) = [c for c in named(boiler, "hold") if c.since >= at(0)]
    assert (condition.since, condition.until) == (at(1), at(2) + timedelta(minutes=1))


def test_two_holds_that_overlap_are_one_condition_of_the_boiler() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5)).visit(2, proof("valve", lifted=False))
    (condition,) = [c for c in named(boiler, "hold") if c.since >= at(0)]
    assert (condition.since, condition.until) == (at(1), None)


def test_what_a_visit_leaves_beside_the_hold_it_brings_is_a_line_of_one_alert() -> None:
    boiler = Boiler().service().visit(1, act("valve", "repair"), proof("limit", trip_psi=13.5))
    (hold,) = [c for c in named(boiler, "hold") if c.since >= at(0)]
    assert named(boiler, "against_firing") == []
    assert any("safety valve" in line for line in hold.lines)
    assert not any("tripped only at 13.5 psi" in line for line in hold.lines)


def test_what_another_visit_leaves_is_an_alert_of_its_own_beside_the_hold() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5)).visit(3, act("valve", "repair"))
    (hold,) = [c for c in named(boiler, "hold") if c.since >= at(0)]
    assert [(c.since, c.until) for c in named(boiler, "against_firing")] == [(at(3), None)]
    assert not any("safety valve" in line for line in hold.lines)


def test_what_stood_beside_a_hold_is_told_by_itself_once_the_hold_is_over() -> None:
    boiler = Boiler().service().visit(1, act("valve", "repair"), see("limit", "jumper_found"))
    boiler.visit(2, act("limit", "jumper_removed"), proof("limit"), kind="routine_check")
    (hold,) = [c for c in named(boiler, "hold") if c.since >= at(0)]
    assert hold.until == at(2) + timedelta(minutes=1)
    assert [(c.since, c.until) for c in named(boiler, "against_firing")] == [(hold.until, None)]


def test_a_further_cause_of_hold_brings_the_lines_of_its_own_visit() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5))
    boiler.visit(3, act("upper", "adjust"), proof("valve", lifted=False))
    (hold,) = [c for c in named(boiler, "hold") if c.since >= at(0)]
    assert named(boiler, "against_firing") == []
    assert any("upper cutoff" in line for line in hold.lines)


def test_not_ready_is_told_until_a_later_visit_answers() -> None:
    boiler = Boiler().service().visit(1, act("limit", "adjust")).visit(2, proof("limit"), leave=LEFT_RIGHT)
    (condition,) = named(boiler, "against_firing")
    assert (condition.since, condition.until) == (at(1), at(2))


@pytest.mark.parametrize("name", ["due", "lapsed", "hold", "against_firing"])
def test_nothing_is_told_of_a_proven_boiler_on_its_first_day(name: str) -> None:
    assert [c for c in named(Boiler().service(), name) if at(0) <= c.since <= at(1)] == []


def test_a_hold_that_leaves_it_exposed_is_two_conditions_end_to_end() -> None:
    boiler = Boiler().service().visit(1, act("valve", "repair"), proof("limit", trip_psi=13.5))
    mended = at(2) + timedelta(minutes=1)
    boiler.visit(2, act("limit", "repair"), proof("limit"))
    hold, exposed = named(boiler, "hold")[-1], named(boiler, "exposed")[-1]
    assert hold.since == at(1) + timedelta(minutes=1)
    assert hold.until == mended
    assert exposed.since == mended
    assert exposed.until is None
    assert hold.sentence == "The high limit tripped only at 13.5 psi. (Thu 16 Oct 2025)"
    assert exposed.sentence == (
        "The safety valve was opened on Thu 16 Oct 2025 "
        "and needs pop test or safety valve tested by the valve shop since."
    )


@pytest.mark.parametrize(("kind", "until"), [("follow_up", at(2)), ("routine_check", None)])
def test_an_answer_lasts_until_a_visit_that_had_the_boiler_in_hand(kind: str, until: datetime | None) -> None:
    boiler = Boiler().service().visit(1, act("limit", "adjust"))
    boiler.visit(2, see("limit", "found_firing"), kind=kind)
    assert [(c.since, c.until) for c in named(boiler, "against_firing")][:1] == [(at(1), until)]


def test_of_two_visits_that_end_at_one_instant_the_last_answers_alone() -> None:
    boiler = Boiler().service().visit(1, act("limit", "adjust")).visit(1, act("limit", "adjust"))
    assert [(c.since, c.until) for c in named(boiler, "against_firing")] == [(at(1), None)]


@pytest.mark.parametrize("state", [ServiceMode.LAID_UP_WET, ServiceMode.ISOLATED])
def test_what_is_due_is_silent_through_the_pause_and_told_again_after_it(state: ServiceMode) -> None:
    boiler = Boiler().service().goes(20, state).goes(22, ServiceMode.IN_SERVICE)
    spans = [(c.since, c.until) for c in named(boiler, "due", "upper")]
    assert spans[0] == (local(date(2025, 10, 25)), at(20))
