"""A carbon monoxide alarm is out of date from the day after its last, by time alone, until another takes its place."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from fleet.rules.values import Level, State, Value
from tests.rules.build import at, ident, local
from tests.rules.plant import Plant, fit, look, proof
from tests.rules.test_properties import judged

OVER = local(date(2026, 4, 1))
INSTANT = timedelta(microseconds=1)


def house(last: Value = "2026-03-31") -> Plant:
    """A served plant whose alarm bears a last day."""
    boiler = Plant()
    boiler.fittings = [
        replace(f, attributes={"end_of_life": last}) if f.position == ident("alarm") else f for f in boiler.fittings
    ]
    return boiler.service()


def state(boiler: Plant, days: float) -> State:
    return boiler.state("alarm", days)


def test_before_at_and_after_the_end_of_its_last_day() -> None:
    boiler = house()
    states = [boiler.state_at("alarm", OVER + d).state for d in (-INSTANT, timedelta(0), INSTANT)]
    assert states == [State.PROVEN, State.FAILED, State.FAILED]


def test_it_is_an_urgent_deficiency_from_then_on_and_no_sooner() -> None:
    (found,) = [d for d in judged(house().evidence()).deficiencies if d.rule == "alarm_out_of_date"]
    assert found.opened_at == OVER
    assert found.closed_at is None
    assert found.levels[0].level == Level.URGENT


def test_a_passed_test_makes_it_no_younger() -> None:
    boiler = house().visit(200, proof("alarm"))
    assert state(boiler, 201) == State.FAILED
    assert "alarm_out_of_date" in boiler.open("alarm")


@pytest.mark.parametrize(("day", "count"), [(100.0, 0), (200.0, 1)])
def test_another_alarm_ends_it_or_it_never_begins(day: float, count: int) -> None:
    boiler = house().visit(day, fit("alarm", end_of_life="2036-01-01"), proof("alarm"))
    found = [d for d in judged(boiler.evidence()).deficiencies if d.rule == "alarm_out_of_date"]
    # The new one has its own last day, ten years on.
    assert [d.closed_at for d in found] == [*[at(day)] * count, None]
    assert found[-1].opened_at == local(date(2036, 1, 2))
    assert state(boiler, day + 1) is State.PROVEN


def test_what_was_seen_out_of_date_is_not_told_twice() -> None:
    boiler = house().visit(190, look("alarm", "alarm_expired"))
    assert boiler.open("alarm") == ["alarm_out_of_date"]


@pytest.mark.parametrize("last", [None, "", "next spring", 2026.0])
def test_what_is_no_date_ends_nothing(last: Value) -> None:
    assert "alarm_out_of_date" not in house(last).open("alarm")


def test_its_states_follow_each_other_through_a_test_after_its_last_day() -> None:
    boiler = house().visit(200, proof("alarm")).visit(210, fit("alarm", end_of_life="2036-01-01"), proof("alarm"))
    alarm = [s for s in judged(boiler.evidence()).states if s.position == ident("alarm")]
    assert [s.since for s in alarm[1:]] == [s.until for s in alarm[:-1]]
    assert all(s.since is None or s.until is None or s.since < s.until for s in alarm)
