"""What stands against firing it: *something does* wins, and *nothing found* means that nothing at all is open."""

from dataclasses import replace

import pytest

from fleet.rules.values import FIRING_ANSWERS, EntryFact, Standing
from tests.rules import plant
from tests.rules.build import FULL, LEFT_RIGHT, Boiler, act, ident, proof, remove, see, swap, turn

SOMETHING, NOTHING, UNKNOWN = FIRING_ANSWERS
EVERYTHING = [proof(ref) for ref in FULL]


def after(
    *entries: EntryFact, who: str = "technician", leave: dict[str, bool] | None = None, kind: str = "follow_up"
) -> Boiler:
    """A proven boiler, then one visit with these entries."""
    checks = LEFT_RIGHT if leave is None else leave
    return Boiler().service().visit(1, *entries, who=who, leave=checks, kind=kind)


def missing(boiler: Boiler) -> set[str]:
    return {m.what for m in boiler.ready().missing}


TABLE: list[tuple[str, list[EntryFact], str]] = [
    ("nothing wrong", [proof("limit")], NOTHING),
    ("flush only", [proof("upper", "flush")], NOTHING),
    ("adjusted and tripped", [act("limit", "adjust"), proof("limit")], NOTHING),
    ("adjusted, not tripped", [act("limit", "adjust")], SOMETHING),
    ("tripped, then adjusted", [proof("limit"), act("limit", "adjust")], SOMETHING),
    ("set, not tripped", [turn("limit", set_psi=9.0)], SOMETHING),
    ("chamber cleaned, flushed only", [act("chamber", "open_clean"), proof("upper", "flush")], SOMETHING),
    ("chamber cleaned, slow drained", [act("chamber", "open_clean"), proof("upper")], NOTHING),
    ("last line failed", [proof("valve", lifted=False)], SOMETHING),
    ("upper failed, lower stands", [proof("upper", "flush", burner_stopped=False)], SOMETHING),
    ("upper presumed failed", [see("lower", "lockout_found")], SOMETHING),
    ("upper taken out", [remove("upper")], SOMETHING),
    ("limit replaced, not proven", [swap("limit", set_psi=8.0)], SOMETHING),
    ("limit replaced and proven", [swap("limit", set_psi=8.0), proof("limit")], NOTHING),
    ("valve replaced, not lifted", [swap("valve", set_psi=15.0)], SOMETHING),
    ("limit inconclusive", [proof("limit", call_on=False)], UNKNOWN),
    ("limit inconclusive, then good", [proof("limit", call_on=False), proof("limit")], NOTHING),
    ("slow drain inconclusive, flush good", [proof("upper", trip_in=None), proof("upper", "flush")], UNKNOWN),
    ("control replaced, not tripped", [swap("control", cut_out_psi=2.0)], SOMETHING),
    (
        "test button inconclusive",
        [proof("lower", "button_test", outcome="inconclusive")],
        NOTHING,
    ),
    ("control inconclusive", [proof("control", trip_psi=None)], UNKNOWN),
    ("valve drips", [proof("valve", after_lift="drips")], SOMETHING),
    ("very dirty flush", [proof("upper", "flush", sediment="very_dirty")], SOMETHING),
    ("jumper found", [see("upper", "jumper_found")], SOMETHING),
]


@pytest.mark.parametrize(("told", "entries", "answer"), TABLE, ids=[t[0] for t in TABLE])
def test_the_answer_after_a_visit_to_a_proven_boiler(told: str, entries: list[EntryFact], answer: str) -> None:
    assert after(*entries).ready().answer == answer


@pytest.mark.parametrize("check", sorted(LEFT_RIGHT))
@pytest.mark.parametrize("value", [False, None])
def test_every_leaving_check_must_be_yes(check: str, value: bool | None) -> None:
    boiler = after(proof("limit"), leave={**LEFT_RIGHT, check: value})
    holds = {"hold:jumper_left"} if (check, value) == ("jumpers_off", False) else set()
    assert missing(boiler) == {f"leaving:{check}", *holds}


def test_a_pass_nobody_present_may_give_answers_no_doubt() -> None:
    boiler = after(proof("limit", call_on=False), proof("limit"), who="fire_side")
    assert boiler.ready().answer == UNKNOWN


def test_a_pass_nobody_present_may_give_is_not_looked_at() -> None:
    boiler = after(*EVERYTHING, who="fire_side")
    assert len(boiler.ready().not_looked_at) == 4


def test_a_boiler_never_proven_is_not_examined_and_names_the_proofs() -> None:
    boiler = Boiler().visit(0, proof("limit"), leave=LEFT_RIGHT)
    assert boiler.ready().answer == UNKNOWN
    assert any("lower cutoff" in m.sentence for m in boiler.ready().missing)


@pytest.mark.parametrize("kind", ["annual_service", "season_start"])
@pytest.mark.parametrize("left_out", ["upper", "lower", "control", "limit", "valve"])
def test_a_service_proves_every_device_again_whatever_stood_before(kind: str, left_out: str) -> None:
    entries = [proof(ref) for ref in FULL if ref != left_out]
    boiler = Boiler().service().visit(1, *entries, leave=LEFT_RIGHT, kind=kind)
    assert boiler.ready().answer == SOMETHING
    assert {m.position for m in boiler.ready().missing} == {ident(left_out)}


def test_a_flush_is_not_enough_at_a_service() -> None:
    entries = [proof(ref, "flush" if ref == "upper" else "") for ref in FULL]
    boiler = Boiler().service().visit(1, *entries, leave=LEFT_RIGHT, kind="annual_service")
    assert missing(boiler) == {"service", "touched"}  # the chamber was opened to be inspected


def test_a_whole_service_finds_nothing() -> None:
    boiler = Boiler().visit(0, *EVERYTHING, leave=LEFT_RIGHT, kind="annual_service")
    assert boiler.ready().answer == NOTHING


def test_a_follow_up_need_not_prove_everything() -> None:
    boiler = Boiler().service().visit(1, proof("limit"), leave=LEFT_RIGHT, kind="follow_up")
    assert boiler.ready().answer == NOTHING


def test_a_visit_in_which_nothing_was_done_is_answered_too() -> None:
    boiler = Boiler().service().visit(1, leave=LEFT_RIGHT)
    assert (boiler.ready().answer, len(boiler.ready().not_looked_at)) == (NOTHING, 4)


def answered(boiler: Boiler) -> bool:
    """Whether the newest visit has an answer of its own."""
    return boiler.ready().at == boiler.visits[-1].at


IN_HAND: list[tuple[str, EntryFact, str, str, bool]] = [
    ("a technician's follow-up", see("limit", "found_firing"), "technician", "follow_up", True),
    ("a technician's flush on a routine check", proof("upper", "flush"), "technician", "routine_check", False),
    ("a test that was not done", proof("limit", outcome="not_done"), "technician", "routine_check", False),
    ("a slow drain on a routine check", proof("upper"), "technician", "routine_check", True),
    ("something opened", act("chamber", "open_clean"), "technician", "routine_check", True),
    ("something set", turn("limit", set_psi=8.0), "technician", "routine_check", True),
    ("something replaced", swap("limit"), "technician", "routine_check", True),
    ("something reset", act("limit", "reset"), "technician", "routine_check", True),
    ("a reset pressed", see("limit", "reset_pressed"), "technician", "routine_check", True),
    ("a caretaker's flush", proof("upper", "flush"), "operator", "routine_check", False),
    ("a caretaker's reset", act("limit", "reset"), "operator", "follow_up", False),
    ("nobody qualified", act("limit", "adjust"), "", "follow_up", False),
]


@pytest.mark.parametrize(("told", "entry", "who", "kind", "asked"), IN_HAND, ids=[row[0] for row in IN_HAND])
def test_only_a_qualified_visit_that_had_the_boiler_in_hand_is_asked(
    told: str, entry: EntryFact, who: str, kind: str, asked: bool
) -> None:
    assert answered(after(entry, who=who, kind=kind, leave={})) is asked


def test_a_routine_check_that_answers_leaving_checks_is_asked_for_all_of_them() -> None:
    boiler = after(proof("upper", "flush"), leave={"drains_shut": False}, kind="routine_check")
    assert missing(boiler) == {f"leaving:{check}" for check in LEFT_RIGHT}


def test_a_slow_drain_on_a_routine_check_is_asked_how_it_was_left() -> None:
    assert "leaving:drains_shut" in missing(after(proof("upper"), leave={}, kind="routine_check"))


def test_a_neighbours_visit_is_neither_answered_nor_a_survey_here() -> None:
    boiler = Boiler().visit(0, proof("limit"))
    boiler.visits[0] = replace(boiler.visits[0], of_this_boiler=False)
    assert (boiler.judged().readiness, boiler.standing(1)) == ((), Standing.NOT_SURVEYED)


def test_something_does_wins_over_not_examined() -> None:
    boiler = after(proof("limit", call_on=False), act("valve", "repair"))
    assert boiler.ready().answer == SOMETHING


def test_a_hold_from_an_earlier_visit_still_stands_against_firing() -> None:
    boiler = after(proof("upper", "flush", burner_stopped=False)).visit(2, proof("limit"), leave=LEFT_RIGHT)
    assert "hold:flush_keeps_firing" in missing(boiler)


def test_what_was_not_looked_at_is_named_with_its_last_word() -> None:
    names = [m.sentence for m in after(proof("limit")).ready().not_looked_at]
    assert len(names) == 3
    assert all("15 Oct 2025" in sentence for sentence in names)


def follow_up(*last: EntryFact) -> Boiler:
    """The visit that the interface's conventions give as their example, both controls on the one siphon."""
    boiler = Boiler(one_siphon=True).service()
    return boiler.visit(
        353,
        see("limit", "lockout_found"),
        proof("siphon_a", outcome="fail", passes_water=False),
        act("siphon_a", "clear"),
        proof("siphon_a"),
        swap("limit", set_psi=8.0),
        proof("limit"),
        *last,
        leave=LEFT_RIGHT,
    )


def test_something_stands_against_the_example_while_the_control_was_not_tripped() -> None:
    boiler = follow_up(proof("control", outcome="not_done"))
    assert boiler.ready().answer == SOMETHING
    assert missing(boiler) == {"cause_unknown", "open:lockout_found", "routine:set_pressure_unproven", "touched"}


def test_something_stands_against_the_example_by_its_leaving_checks_alone() -> None:
    boiler = follow_up(proof("control"))
    boiler.visits[-1] = replace(boiler.visits[-1], leaving_checks={"jumpers_off": True})
    assert boiler.ready().answer == SOMETHING


def test_of_the_example_with_the_control_tripped_cause_and_set_pressure_are_left() -> None:
    assert missing(follow_up(proof("control"))) == {"cause_unknown", "routine:set_pressure_unproven"}


@pytest.mark.parametrize(
    ("left_out", "asked"), [("", []), ("combustion_test", ["combustion"]), ("normal_restart", ["normal restart"])]
)
def test_a_service_of_a_boiler_with_a_burner_ends_with_combustion_and_a_normal_restart(
    left_out: str, asked: list[str]
) -> None:
    codes = [c for c in ("combustion_test", "normal_restart") if c != left_out]
    tests = [*EVERYTHING, *(plant.proof(ref) for ref in plant.PROVES if ref != "burner")]
    tests += [plant.proof("control", "three_cycles"), *(plant.proof("burner", code) for code in codes)]
    who = "technician|fire_side|gas_train"
    boiler = plant.Plant().visit(0, *tests, kind="annual_service", who=who, leave=LEFT_RIGHT)
    told = [m.sentence.lower() for m in boiler.ready().missing if m.what == "service"]
    assert len(told) == len(asked)
    assert all(word in sentence for word, sentence in zip(asked, told, strict=True))
