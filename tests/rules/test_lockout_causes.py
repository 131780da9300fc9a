"""A reset asks why the device had locked out, unless a test, a lockout found or a cause named there explains it."""

from dataclasses import replace
from datetime import datetime

import pytest

from fleet.rules.values import EntryFact, Value
from tests.rules.build import LEFT_RIGHT, act, at, ident, turn
from tests.rules.plant import Plant, fit, look, proof

MINUTE = 1 / 1440
RESET = act("limit", "reset")
FOUND, NAMED = look("limit", "lockout_found"), look("limit", "cause_found")


def read_only(ref: str, code: str, **readings: Value) -> EntryFact:
    """A test that came to nothing, with no more readings than these."""
    return replace(proof(ref, code), outcome="inconclusive", readings=readings)


def asked_since(boiler: Plant) -> list[datetime | None]:
    """From when each cause is asked for, in the answer after the newest visit."""
    return [m.since for m in boiler.ready().missing if m.what == "cause_unknown"]


def is_asked(*entries: EntryFact) -> bool:
    """Whether a cause is asked for after one qualified visit with these entries to a proven boiler."""
    return asked_since(Plant().service().visit(1, *entries, kind="follow_up", leave=LEFT_RIGHT)) != []


# where, the test, and the reading that shows that the device acted
ACTED: list[tuple[str, str, str]] = [
    ("lower", "slow_drain", "burner_stopped"),
    ("lower", "slow_drain", "locked_out"),
    ("flame", "flame_failure_test", "fuel_shut"),
    ("limit", "limit_trip", "restarted_by_hand"),
    ("spill", "spill_switch_trip", "stayed_out_until_reset"),
]


@pytest.mark.parametrize(("ref", "code", "reading"), ACTED, ids=[row[2] for row in ACTED])
def test_a_test_that_came_to_nothing_explains_the_reset_only_where_it_was_read_that_the_device_acted(
    ref: str, code: str, reading: str
) -> None:
    assert not is_asked(read_only(ref, code, **{reading: True}), act(ref, "reset"))
    assert is_asked(read_only(ref, code), act(ref, "reset"))


@pytest.mark.parametrize(("psi", "asked"), [(None, True), (0.0, True), (0.5, False), (1.0, False), (7.8, False)])
def test_a_trip_pressure_over_zero_shows_that_the_limit_acted(psi: float | None, asked: bool) -> None:
    assert is_asked(read_only("limit", "limit_trip", trip_psi=psi), RESET) is asked


@pytest.mark.parametrize(
    ("ref", "code"), [("limit", "ladder_read_back"), ("flame", "flame_signal"), ("lower", "probe_clean_inspect")]
)
@pytest.mark.parametrize("outcome", ["pass", "fail"])
def test_what_only_looks_at_a_device_trips_nothing_and_explains_no_reset(ref: str, code: str, outcome: str) -> None:
    assert is_asked(proof(ref, code, outcome), act(ref, "reset"))


@pytest.mark.parametrize(("is_opened", "rules"), [(True, []), (False, ["resets_without_cause"])])
def test_resets_of_the_circuit_that_end_trips_of_it_are_none_without_a_cause(is_opened: bool, rules: list[str]) -> None:
    trip = read_only("circuit", "limit_circuit_trip", **({"switch_opened": True} if is_opened else {}))
    boiler = Plant().service().visit(1, trip, act("circuit", "reset")).visit(1.5, trip, act("circuit", "reset"))
    assert boiler.open("circuit") == rules


EXPLAINED: list[tuple[str, list[EntryFact], bool]] = [
    ("nothing", [], True),
    ("a trip that passed", [proof("limit")], False),
    ("a trip that failed", [proof("limit", trip_psi=13.5)], False),
    ("a trip that was not done", [proof("limit", outcome="not_done")], True),
    ("a trip elsewhere", [proof("lower")], True),
    ("a trip whose reset was pressed", [proof("limit"), RESET], True),
    ("its cause", [NAMED], False),
    ("a cause elsewhere", [look("lower", "cause_found")], True),
    ("a lockout and its cause", [FOUND, NAMED], False),
]


@pytest.mark.parametrize(("told", "before", "asked"), EXPLAINED, ids=[row[0] for row in EXPLAINED])
def test_what_came_before_a_reset_in_its_visit_explains_it_or_not(
    told: str, before: list[EntryFact], asked: bool
) -> None:
    assert is_asked(*before, RESET) is asked


@pytest.mark.parametrize("before", [proof("limit"), NAMED], ids=["trip", "cause"])
def test_what_was_tested_or_named_in_another_visit_explains_no_reset(before: EntryFact) -> None:
    boiler = Plant().service().visit(1, before)
    assert asked_since(boiler.visit(1 + 60 * MINUTE, RESET, leave=LEFT_RIGHT)) == [at(1 + 60 * MINUTE)]


def test_a_caretaker_who_names_the_cause_and_presses_the_reset_leaves_the_cause_to_be_asked_for() -> None:
    boiler = Plant().service().visit(1, NAMED, RESET, who="operator")
    boiler.visit(2, proof("upper", "flush"), kind="follow_up", leave=LEFT_RIGHT)
    assert asked_since(boiler) == [at(1) + (at(MINUTE) - at())]


@pytest.mark.parametrize(("days", "since"), [(30 - MINUTE, 1), (30, 31), (30 + MINUTE, 31 + MINUTE)])
def test_a_reset_within_thirty_days_belongs_to_the_lockout_found_and_later_it_is_of_another(
    days: float, since: float
) -> None:
    boiler = Plant().service().visit(1, FOUND).visit(1 + days, RESET, kind="follow_up", leave=LEFT_RIGHT)
    assert asked_since(boiler) == [at(since)]


# who was there, what came before the reset, in the same visit or in one an hour before
BY_CARETAKER: list[tuple[str, EntryFact, float, bool]] = [
    ("a flush before it", proof("upper", "flush"), 0, False),
    ("a flush that failed before it", proof("upper", "flush", burner_stopped=False), 0, False),
    ("a flush with the burner off", proof("upper", "flush", burner_firing=False), 0, True),
    ("a flush in another visit", proof("upper", "flush"), 60 * MINUTE, True),
    ("a test of another device", proof("glass", "gauge_glass_blowdown"), 0, True),
]


@pytest.mark.parametrize(("told", "before", "gap", "held"), BY_CARETAKER, ids=[row[0] for row in BY_CARETAKER])
def test_a_caretaker_may_press_the_reset_that_ends_a_test_and_no_other(
    told: str, before: EntryFact, gap: float, held: bool
) -> None:
    boiler, reset = Plant().service(), act("upper", "reset")
    if gap:
        boiler.visit(1, before, who="operator").visit(1 + gap, reset, who="operator")
    else:
        boiler.visit(1, before, reset, who="operator")
    assert ("reset_unqualified" in boiler.open("upper")) is held


SEARCH = [
    FOUND,
    proof("upper", "flush"),
    proof("control"),
    proof("limit"),
    proof("control", "three_cycles"),
    look("limit", "cause_not_found", looked_for="siphon, wiring"),
]


def is_excused_after(*between: tuple[str, str, str]) -> bool:
    """Whether a second search, twenty days after the first, is enough; `between`: who saw what where after ten."""
    boiler = Plant().service().visit(1, *SEARCH, kind="follow_up", leave=LEFT_RIGHT)
    for ref, code, who in between:
        boiler.visit(11, look(ref, code), who=who)
    boiler.visit(21, *SEARCH, kind="follow_up", leave=LEFT_RIGHT)
    return asked_since(boiler) == []


def test_a_second_lockout_within_thirty_days_is_excused_only_where_somebody_qualified_named_the_cause_between() -> None:
    assert not is_excused_after()
    assert is_excused_after(("limit", "cause_found", "technician"))
    assert not is_excused_after(("limit", "cause_found", "operator"))
    assert not is_excused_after(("lower", "cause_found", "technician"))
    assert not is_excused_after(("limit", "found_firing", "technician"))


def excused(*entries: EntryFact, earlier: EntryFact | None = None) -> bool:
    """Whether a visit with these entries searched enough; `earlier` was seen in a visit two days before."""
    boiler = Plant().service()
    if earlier is not None:
        boiler.visit(1, earlier)
    boiler.visit(3, *entries, kind="follow_up", leave=LEFT_RIGHT)
    return ident("limit") not in {m.position for m in boiler.ready().missing if m.what == "cause_unknown"}


def test_the_lockout_of_another_device_lately_is_not_this_one_again() -> None:
    assert excused(*SEARCH, earlier=look("flame", "lockout_found"))
    assert not excused(*SEARCH, earlier=RESET)


def test_the_tests_of_another_visit_are_not_those_of_the_search() -> None:
    boiler = Plant().service().visit(1, *(e for e in SEARCH if e.code != "cause_not_found"), kind="follow_up")
    assert asked_since(boiler.visit(2, SEARCH[-1], kind="follow_up", leave=LEFT_RIGHT)) == [at(1)]


# what is done first, and whether the trip after it is still one as found
FIRST: list[tuple[str, EntryFact, bool]] = [
    ("work on the limit", act("limit", "adjust"), False),
    ("work on its siphon", act("siphon_b", "clear"), False),
    ("work on its circuit", act("circuit", "rewire"), False),
    ("a new limit", fit("limit", set_psi=8.0), False),
    ("its set point moved", turn("limit", set_psi=8.0), False),
    ("work on another siphon", act("siphon_a", "clear"), True),
    ("a reset, which touches nothing", RESET, True),
    ("a trip that failed", proof("limit", trip_psi=13.5), False),
    ("a look at its set point", proof("limit", "ladder_read_back"), True),
]


@pytest.mark.parametrize(("told", "first", "enough"), FIRST, ids=[row[0] for row in FIRST])
def test_the_search_asks_for_a_trip_as_found_before_any_work_on_the_limit_or_its_paths(
    told: str, first: EntryFact, enough: bool
) -> None:
    after = [proof("control"), *([proof("siphon_a")] if "another" in told else [])]
    assert excused(FOUND, first, *SEARCH[1:], *after) is enough


# who or what was there, and whether it is still not recorded what had locked out
ON_ARRIVAL: list[tuple[str, list[EntryFact], bool]] = [
    ("only a trip that was a test", [proof("limit")], True),
    ("the device found locked out", [FOUND], False),
    ("a spill switch found tripped", [look("spill", "spill_found_tripped")], False),
    ("a cause", [NAMED], False),
    ("a reset that asks for its cause", [RESET], False),
    ("a reset pressed that asks for its cause", [look("limit", "reset_pressed")], False),
    ("a reset that ends a test", [proof("limit"), RESET], True),
    ("a safety valve that discharged", [look("valve", "valve_opened_under_pressure")], True),
    ("a reset of the circuit, which asks for nothing", [act("circuit", "reset")], True),
]


def found_locked_out(boiler: Plant, *entries: EntryFact, arrival: str = "locked_out") -> bool:
    """Whether a visit that found the boiler so, with these entries, is asked what had locked out."""
    boiler.visit(9, *entries, kind="follow_up", leave=LEFT_RIGHT)
    boiler.visits[-1] = replace(boiler.visits[-1], state_on_arrival=arrival)
    return "lockout_unsaid" in {m.what for m in boiler.ready().missing}


@pytest.mark.parametrize(("told", "entries", "unsaid"), ON_ARRIVAL, ids=[row[0] for row in ON_ARRIVAL])
def test_a_boiler_found_locked_out_asks_what_had_locked_out(told: str, entries: list[EntryFact], unsaid: bool) -> None:
    assert found_locked_out(Plant().service(), *entries) is unsaid
    assert not found_locked_out(Plant().service(), *entries, arrival="off")


def test_a_cause_asked_for_by_an_older_visit_says_nothing_of_what_is_found_now() -> None:
    assert found_locked_out(Plant().service().visit(8, FOUND), RESET)  # the reset is that lockout's


def test_a_reset_after_a_search_in_vain_has_ended_asks_anew() -> None:
    boiler = Plant().service().visit(1, *SEARCH, kind="follow_up", leave=LEFT_RIGHT)
    assert asked_since(boiler) == []
    assert asked_since(boiler.visit(2, RESET, kind="follow_up", leave=LEFT_RIGHT)) == [at(2)]


@pytest.mark.parametrize("left_out", ["limit_trip", "operating_control_trip", "three_cycles", "cause_not_found"])
def test_a_search_that_leaves_out_a_trip_the_rung_before_the_cycles_or_its_own_word_is_not_enough(
    left_out: str,
) -> None:
    assert excused(*SEARCH)
    assert not excused(*(e for e in SEARCH if e.code != left_out))


def test_three_cycles_that_were_not_smooth_are_not_enough() -> None:
    rough = proof("control", "three_cycles", outcome="fail")
    assert not excused(*(rough if e.code == "three_cycles" else e for e in SEARCH))
