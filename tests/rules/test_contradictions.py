"""Two entries that can't both be true: what fires, and what answers it once somebody qualified said which is wrong."""

from collections.abc import Sequence

import pytest

from fleet.rules.values import EntryFact, JudgedDeficiency
from tests.rules.build import act, catalogue, ident, swap
from tests.rules.plant import Plant, look, proof

MINUTE = 1 / 1440
BLOCKED = look(None, "vent_blocked")
CAUSE = look(None, "cause_found")


def story(first: EntryFact, second: EntryFact, *between: EntryFact, minutes: float = 5) -> Plant:
    boiler = Plant().service().visit(1, first, who="technician|fire_side")
    if between:
        boiler.visit(1 + MINUTE, *between)
    return boiler.visit(1 + minutes * MINUTE, second, who="technician|fire_side")


def episodes(boiler: Plant) -> list[JudgedDeficiency]:
    return [d for d in boiler.judged().deficiencies if d.rule == "contradiction"]


WINDOWS = [
    (proof("siphon_a"), look("gauge", "gauge_zero_steaming"), 60),
    (look("glass", "glass_empty"), look("glass", "glass_full"), 5),
    (look("feeder", "feeding_above_normal"), look("feeder", "not_feeding_low"), 5),
    (proof("vent"), BLOCKED, 60),
    (look("limit", "found_firing"), look("limit", "found_off"), 1),
]


@pytest.mark.parametrize(("one", "two", "window"), WINDOWS)
def test_two_entries_clash_in_either_order_up_to_the_last_instant_of_the_window(
    one: EntryFact, two: EntryFact, window: int
) -> None:
    tick = 1e-6 / 60
    for first, second in ((one, two), (two, one)):
        clashes = [bool(episodes(story(first, second, minutes=window + d))) for d in (-tick, 0, tick)]
        assert clashes == [True, True, False]


@pytest.mark.parametrize("between", [act("gauge", "repair"), act("siphon_a", "clear")])
def test_what_was_done_in_between_makes_both_true(between: EntryFact) -> None:
    seen = look("gauge", "gauge_zero_steaming")
    assert len(episodes(story(proof("siphon_a"), seen))) == 1
    assert episodes(story(proof("siphon_a"), seen, between)) == []


def test_what_was_only_seen_in_between_leaves_the_clash() -> None:
    assert len(episodes(story(proof("vent"), BLOCKED, look("limit", "reset_pressed")))) == 1


@pytest.mark.parametrize(("seen", "clash"), [("upper", 1), ("lower", 0)])
def test_entries_that_clash_at_one_place_do_not_clash_at_two(seen: str, clash: int) -> None:
    assert len(episodes(story(proof("upper"), look(seen, "level_below_trip", burner_firing=True)))) == clash


def test_it_is_told_at_the_place_of_the_newer_entry_with_its_sentence() -> None:
    (found,) = episodes(story(BLOCKED, proof("vent")))
    assert (found.position, found.sentence) == (ident("vent"), "The vent can't be clear and blocked.")


ANSWERS: list[tuple[str, Sequence[EntryFact], bool]] = [
    ("what tests the suspect", [proof("burner")], True),
    ("a test of something else", [proof("alarm")], False),
    ("a full proof of something else", [proof("limit")], False),
    ("nothing", [], False),
]


@pytest.mark.parametrize(("told", "tests", "closes"), ANSWERS, ids=[a[0] for a in ANSWERS])
def test_a_clash_of_the_boiler_as_a_whole_is_answered_by_what_tests_a_suspect(
    told: str, tests: Sequence[EntryFact], closes: bool
) -> None:
    boiler = story(proof("burner"), BLOCKED).visit(2, CAUSE, act("vent", "clear"), *tests, who="technician|fire_side")
    (found,) = episodes(boiler)
    assert found.position is None, told
    assert (found.closed_at is not None) == closes, told


@pytest.mark.parametrize(("ref", "code", "closes"), [("glass", "", True), ("body", "", False), ("limit", "", False)])
def test_a_clash_of_two_things_seen_is_answered_by_what_answers_either(ref: str, code: str, closes: bool) -> None:
    boiler = story(look(None, "glass_empty", burner_firing=False), look(None, "glass_full")).visit(2, CAUSE)
    (found,) = episodes(boiler.visit(3, act(ref, "repair"), proof(ref, code)))
    assert (found.closed_at is not None) is closes


def test_until_its_cause_is_said_no_test_answers_it() -> None:
    boiler = story(proof("burner"), BLOCKED).visit(2, act("vent", "clear"), proof("burner"), who="technician|fire_side")
    assert [d.closed_at for d in episodes(boiler)] == [None]


@pytest.mark.parametrize(("ref", "closes"), [("vent", True), ("burner", True), ("limit", False)])
def test_work_on_the_way_of_the_flue_gas_is_something_done_about_carbon_monoxide(ref: str, closes: bool) -> None:
    boiler = Plant().service().visit(1, look(None, "alarm_sounding")).visit(2, act(ref, "repair"))
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "ambient_co"]
    assert (found.repaired_at is not None) is closes


@pytest.mark.parametrize(("ref", "done"), [("burner", True), ("vent", False), ("air", False)])
def test_work_on_the_vent_is_nothing_done_about_a_smell_of_gas(ref: str, done: bool) -> None:
    boiler = Plant().service().visit(1, look(None, "gas_smell")).visit(2, act(ref, "repair"))
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "people_in_danger"]
    assert (found.repaired_at is not None) is done


def test_a_new_siphon_answers_for_the_plugged_one_by_its_own_check_alone() -> None:
    boiler = (
        Plant().service().visit(1, proof("siphon_b", passes_water=False)).visit(2, swap("siphon_b"), proof("limit"))
    )
    assert boiler.open("siphon_b") == ["siphon_plugged"]
    assert boiler.visit(3, proof("siphon_b")).open("siphon_b") == []


def test_what_a_new_device_fails_itself_is_answered_as_on_any_device() -> None:
    keeps = proof("upper", "flush", burner_stopped=False)
    boiler = Plant().service().visit(1, keeps).visit(2, swap("upper"), keeps)
    assert boiler.visit(3, act("upper", "repair"), proof("upper", "flush")).open("upper") == []


BURNER = [("control", "operating_control_trip", True), ("circuit", "limit_circuit_trip", True), ("glass", "", False)]


@pytest.mark.parametrize(("ref", "code", "closes"), BURNER)
def test_a_burner_seen_firing_and_off_at_once_is_answered_by_a_test_that_it_obeys(
    ref: str, code: str, closes: bool
) -> None:
    boiler = story(look(None, "found_firing"), look(None, "found_off"), minutes=0.5).visit(2, CAUSE)
    (found,) = episodes(boiler.visit(3, proof(ref, code), who="technician|fire_side"))
    assert found.position is None
    assert (found.closed_at is not None) == closes


def test_every_pair_of_the_catalogue_has_a_test_of_a_suspect() -> None:
    known = catalogue()
    assert [c for c in known.contradictions if not known.tests_of(c) <= known.procedures.keys()] == []
    assert all(known.tests_of(c) for c in known.contradictions)


@pytest.mark.parametrize(
    ("code", "closes"), [("clock_input", False), ("normal_restart", False), ("combustion_test", True)]
)
def test_a_clash_at_a_burner_is_answered_by_what_renews_its_proof_and_by_no_lesser_test(
    code: str, closes: bool
) -> None:
    boiler = Plant().service().visit(1, act("burner", "lock_off"), who="technician|fire_side")
    boiler.visit(2, look(None, "found_firing"), who="operator")
    assert [(d.position, d.closed_at) for d in episodes(boiler)] == [(ident("burner"), None)]
    boiler.visit(3, look("burner", "cause_found"), act("burner", "unlock"), proof("burner", code))
    assert [d.closed_at is not None for d in episodes(boiler)] == [closes]


def test_a_lock_under_which_the_boiler_fired_is_a_clash_once() -> None:
    boiler = Plant().service().visit(1, act("burner", "lock_off"), who="technician|fire_side")
    boiler.visit(2, look(None, "found_firing"), who="operator")
    boiler.visit(3, look("burner", "cause_found"), proof("burner", "combustion_test"))
    boiler.visit(4, look(None, "found_firing"), who="operator")
    assert [d.closed_at is not None for d in episodes(boiler)] == [True]
