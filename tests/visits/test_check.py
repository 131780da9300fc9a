"""What a visit by itself can be refused for, without a database: a register of three positions and one release."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest

from fleet.catalog.parse import read_release
from fleet.errors import FaultPath
from fleet.visits.check import MAX_CLOCK_AHEAD, BoilerRegister, visit_faults
from fleet.visits.incoming import IncomingEntry, IncomingVisit, Person
from tests.cast import ROOT

UPPER, LIMIT, VALVE, ROSA = (UUID(int=n) for n in range(1, 5))
NOW = datetime(2026, 1, 12, 14, 0, tzinfo=UTC)
SINCE = datetime(2019, 10, 1, 4, tzinfo=UTC)
REGISTER = BoilerRegister(
    since=SINCE,
    zone="America/New_York",
    roles={UPPER: "upper_cutoff", LIMIT: "high_limit", VALVE: "safety_valve"},
    users=frozenset({ROSA}),
    catalogue=read_release(ROOT / "fixtures" / "catalogue", 1)[1],
    devices={UUID(int=70): "limit_control", UUID(int=71): "", UUID(int=72): "siphon"},
)


def entry(act: str, code: str = "", position: UUID | None = UPPER, at: datetime = NOW, **more: Any) -> IncomingEntry:
    return IncomingEntry(act=act, code=code, position=position, at=at, **more)


def visit(*entries: IncomingEntry, at: datetime = NOW, people: tuple[Person, ...] = ()) -> IncomingVisit:
    return IncomingVisit(UUID(int=9), UUID(int=8), "follow_up", at, entries, people)


def found(*entries: IncomingEntry, **more: Any) -> list[tuple[str, FaultPath]]:
    return [(f.code, f.at) for f in visit_faults(visit(*entries, **more), REGISTER, NOW)]


FIT = entry("fit", position=LIMIT, kind="limit_control")


@pytest.mark.parametrize(
    ("at", "code"),
    [
        (NOW + MAX_CLOCK_AHEAD, None),
        (NOW + MAX_CLOCK_AHEAD + timedelta(microseconds=1), "in_the_future"),
        (SINCE, None),
        (SINCE - timedelta(microseconds=1), "before_the_boiler"),
        (datetime(1, 1, 1, tzinfo=UTC), "before_the_boiler"),
        (datetime.max.replace(tzinfo=UTC), "in_the_future"),
    ],
)
def test_the_ends_of_what_may_be_told(at: datetime, code: str | None) -> None:
    assert found(entry("action", "clear", at=at), at=at) == ([(code, ("performed_at",))] if code else [])


def test_a_time_of_many_entries_is_one_fault() -> None:
    late = entry("action", "clear", at=NOW + timedelta(hours=1))
    assert found(entry("action", "clear"), late, late) == [("in_the_future", ("entries", 1, "performed_at"))]


def test_entries_at_one_instant_are_in_order() -> None:
    assert found(*[entry("action", "clear")] * 3) == []


def test_an_entry_before_the_one_above_it_is_out_of_order() -> None:
    early = entry("action", "clear", at=NOW - timedelta(seconds=1))
    assert found(entry("action", "clear"), early) == [("out_of_order", ("entries", 1, "performed_at"))]


def test_a_name_is_believed_and_a_user_is_looked_up() -> None:
    people = (Person(None, "Anybody"), Person(ROSA), Person(UPPER))
    assert found(people=people) == [("unknown_person", ("people", 2, "user"))]


@pytest.mark.parametrize("act", ["test", "action", "observe", "replace", "fit", "remove", "set"])
@pytest.mark.parametrize("position", [None, UUID(int=99)])
def test_every_act_needs_a_position_of_this_boiler(act: str, position: UUID | None) -> None:
    made = entry(act, "clear", position)
    assert found(made) == [("unknown_position", ("entries", 0, *made.inner, "position"))]


@pytest.mark.parametrize(
    ("made", "code", "at"),
    [
        (entry("test", "nothing"), "unknown_procedure", ("test",)),
        (entry("test", "lever_lift"), "procedure_does_not_fit", ("test",)),
        (entry("test", "flush", readings={"trip_psi": 1}), "unknown_reading", ("readings", "trip_psi")),
        (entry("test", "flush", readings={"burner_firing": 1}), "wrong_type", ("readings", "burner_firing")),
        (entry("test", "flush", readings={"water": 1}), "wrong_type", ("readings", "water")),
        (entry("test", "flush", readings={"water": "?"}), "unknown_choice", ("readings", "water")),
        (entry("test", "slow_drain", readings={"trip_in": True}), "wrong_type", ("readings", "trip_in")),
        (entry("test", "slow_drain", readings={"trip_in": 40.1}), "not_possible", ("readings", "trip_in")),
        (entry("test", "slow_drain", readings={"trip_in": float("nan")}), "not_possible", ("readings", "trip_in")),
        (entry("test", "slow_drain", readings={"trip_in": float("inf")}), "not_possible", ("readings", "trip_in")),
        (entry("action", "nothing"), "unknown_action", ("action",)),
        (entry("action", "clear", readings={"x": 1}), "unknown_reading", ("readings", "x")),
        (entry("observe", "nothing"), "unknown_observation", ("observe",)),
        (entry("observe", "valve_dripping"), "observation_does_not_fit", ("observe",)),
        (entry("observe", "cause_found", readings={"x": 1}), "unknown_reading", ("readings", "x")),
        (entry("observe", "cause_found", readings={"looked_for": "x"}), "unknown_reading", ("readings", "looked_for")),
        (entry("observe", "cause_not_found"), "required", ("readings", "looked_for")),
        (entry("observe", "cause_not_found", readings={"looked_for": " "}), "required", ("readings", "looked_for")),
        (replace(FIT, kind="siphon"), "device_does_not_fit", ("fit", "with", "kind")),
        (replace(FIT, kind=""), "device_does_not_fit", ("fit", "with", "kind")),
        (replace(FIT, act="replace", kind="siphon"), "device_does_not_fit", ("replace", "with", "kind")),
        (replace(FIT, values={"colour": "red"}), "unknown_value", ("fit", "with", "colour")),
        (replace(FIT, values={"set_psi": "8"}), "wrong_type", ("fit", "with", "set_psi")),
        (replace(FIT, values={"set_psi": True}), "wrong_type", ("fit", "with", "set_psi")),
        (replace(FIT, values={"set_psi": float("nan")}), "not_possible", ("fit", "with", "set_psi")),
        (replace(FIT, values={"reset": 1}), "wrong_type", ("fit", "with", "reset")),
        (replace(FIT, device=UUID(int=71)), "device_id_taken", ("fit", "with", "id")),
        (replace(FIT, device=UUID(int=72)), "device_id_taken", ("fit", "with", "id")),
        (entry("set", position=LIMIT), "nothing_set", ("set",)),
        (entry("set", position=LIMIT, values={"set_psi": None}), "wrong_type", ("set", "set_psi")),
        (entry("set", position=LIMIT, values={"cut_out_psi": 2}), "unknown_value", ("set", "cut_out_psi")),
        (entry("set", position=VALVE, values={"set_psi": 301}), "not_possible", ("set", "set_psi")),
    ],
)
def test_each_fault_has_its_code_and_its_place(made: IncomingEntry, code: str, at: FaultPath) -> None:
    assert found(made) == [(code, ("entries", 0, *at))]


@pytest.mark.parametrize(
    "made",
    [
        entry("test", "flush", readings={"burner_firing": None}),
        entry("test", "slow_drain", readings={"trip_in": 40}),
        entry("observe", "cause_found"),
        entry("observe", "cause_not_found", readings={"looked_for": "siphon and wiring"}),
        FIT,
        replace(FIT, values={"set_psi": None}),
        replace(FIT, device=UUID(int=70)),
        replace(FIT, device=UUID(int=73)),
        entry("remove", position=LIMIT),
        entry("set", position=LIMIT, values={"set_psi": 8}),
    ],
)
def test_what_can_be_is_not_refused(made: IncomingEntry) -> None:
    assert found(made) == []


def test_a_device_that_left_its_place_may_go_to_another() -> None:
    first = replace(FIT, device=UUID(int=73))
    away = entry("remove", position=LIMIT)
    assert found(first, away, replace(first)) == []


def test_every_faulty_entry_is_told() -> None:
    assert [at for _, at in found(*[entry("action", "nothing")] * 3)] == [("entries", n, "action") for n in range(3)]
