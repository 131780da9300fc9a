"""May it go back into service: *not ready* wins over *can't say*, and *ready* means nothing at all is missing."""

from dataclasses import replace

import pytest

from fleet.rules.values import EntryFact, Standing
from tests.rules import plant
from tests.rules.build import FULL, LEFT_RIGHT, Boiler, act, ident, proof, remove, see, swap, turn

EVERYTHING = [proof(ref) for ref in FULL]


def after(*entries: EntryFact, who: str = "technician", leave: dict[str, bool] | None = None) -> Boiler:
    """A proven boiler, then one visit with these entries."""
    return Boiler().service().visit(1, *entries, who=who, leave=LEFT_RIGHT if leave is None else leave)


def missing(boiler: Boiler) -> set[str]:
    return {m.what for m in boiler.ready().missing}


TABLE: list[tuple[str, list[EntryFact], str]] = [
    ("nothing wrong", [proof("limit")], "ready"),
    ("flush only", [proof("upper", "flush")], "ready"),
    ("adjusted and tripped", [act("limit", "adjust"), proof("limit")], "ready"),
    ("adjusted, not tripped", [act("limit", "adjust")], "not_ready"),
    ("tripped, then adjusted", [proof("limit"), act("limit", "adjust")], "not_ready"),
    ("set, not tripped", [turn("limit", set_psi=9.0)], "not_ready"),
    ("chamber cleaned, flushed only", [act("chamber", "open_clean"), proof("upper", "flush")], "not_ready"),
    ("chamber cleaned, slow drained", [act("chamber", "open_clean"), proof("upper")], "ready"),
    ("last line failed", [proof("valve", lifted=False)], "not_ready"),
    ("upper failed, lower stands", [proof("upper", "flush", burner_stopped=False)], "not_ready"),
    ("upper presumed failed", [see("lower", "lockout_found")], "not_ready"),
    ("upper taken out", [remove("upper")], "not_ready"),
    ("limit replaced, not proven", [swap("limit", set_psi=8.0)], "not_ready"),
    ("limit replaced and proven", [swap("limit", set_psi=8.0), proof("limit")], "ready"),
    ("valve replaced, not lifted", [swap("valve", set_psi=15.0)], "not_ready"),
    ("limit inconclusive", [proof("limit", call_on=False)], "cant_say"),
    ("limit inconclusive, then good", [proof("limit", call_on=False), proof("limit")], "ready"),
    ("slow drain inconclusive, flush good", [proof("upper", trip_in=None), proof("upper", "flush")], "cant_say"),
    ("control replaced, not tripped", [swap("control", cut_out_psi=2.0)], "not_ready"),
    ("test button inconclusive", [proof("lower", "button_test", outcome="inconclusive")], "ready"),
    ("control inconclusive", [proof("control", trip_psi=None)], "ready"),
    ("valve drips", [proof("valve", after_lift="drips")], "ready"),
    ("jumper found", [see("upper", "jumper_found")], "not_ready"),
]


@pytest.mark.parametrize(("told", "entries", "answer"), TABLE, ids=[t[0] for t in TABLE])
def test_the_answer_after_a_visit_to_a_proven_boiler(told: str, entries: list[EntryFact], answer: str) -> None:
    assert after(*entries).ready().answer == answer


@pytest.mark.parametrize("check", sorted(LEFT_RIGHT))
@pytest.mark.parametrize("value", [False, None])
def test_every_leaving_check_must_be_yes(check: str, value: bool | None) -> None:
    boiler = after(proof("limit"), leave={**LEFT_RIGHT, check: value})
    assert missing(boiler) == {f"leaving:{check}"}


def test_a_pass_nobody_present_may_give_answers_no_doubt() -> None:
    boiler = after(proof("limit", call_on=False), proof("limit"), who="operator")
    assert boiler.ready().answer == "cant_say"


def test_a_pass_nobody_present_may_give_is_not_looked_at() -> None:
    boiler = after(*EVERYTHING, who="operator")
    assert len(boiler.ready().not_looked_at) == 4


def test_a_boiler_never_proven_is_cant_say_and_names_the_proofs() -> None:
    boiler = Boiler().visit(0, proof("limit"), leave=LEFT_RIGHT)
    assert boiler.ready().answer == "cant_say"
    assert any("lower cutoff" in m.sentence for m in boiler.ready().missing)


@pytest.mark.parametrize("kind", ["annual_service", "season_start"])
@pytest.mark.parametrize("left_out", ["upper", "lower", "control", "limit", "valve"])
def test_a_service_proves_every_device_again_whatever_stood_before(kind: str, left_out: str) -> None:
    entries = [proof(ref) for ref in FULL if ref != left_out]
    boiler = Boiler().service().visit(1, *entries, leave=LEFT_RIGHT, kind=kind)
    assert boiler.ready().answer == "not_ready"
    assert {m.position for m in boiler.ready().missing} == {ident(left_out)}


def test_a_flush_is_not_enough_at_a_service() -> None:
    entries = [proof(ref, "flush" if ref == "upper" else "") for ref in FULL]
    boiler = Boiler().service().visit(1, *entries, leave=LEFT_RIGHT, kind="annual_service")
    assert missing(boiler) == {"service", "touched"}  # the chamber was opened to be inspected


def test_a_whole_service_is_ready() -> None:
    boiler = Boiler().visit(0, *EVERYTHING, leave=LEFT_RIGHT, kind="annual_service")
    assert boiler.ready().answer == "ready"


def test_a_follow_up_need_not_prove_everything() -> None:
    boiler = Boiler().service().visit(1, proof("limit"), leave=LEFT_RIGHT, kind="follow_up")
    assert boiler.ready().answer == "ready"


def test_a_visit_in_which_nothing_was_done_is_answered_too() -> None:
    boiler = Boiler().service().visit(1, leave=LEFT_RIGHT)
    assert (boiler.ready().answer, len(boiler.ready().not_looked_at)) == ("ready", 4)


@pytest.mark.parametrize(("who", "answers"), [("operator", "ready"), ("technician", "ready")])
def test_a_plain_flush_on_a_routine_check_is_not_asked_how_it_was_left(who: str, answers: str) -> None:
    assert after(proof("upper", "flush"), who=who, leave={}).ready().answer == answers


def test_a_slow_drain_on_a_routine_check_is_asked_how_it_was_left() -> None:
    assert "leaving:drains_shut" in missing(after(proof("upper"), leave={}))


def test_a_leaving_check_answered_no_counts_after_a_plain_flush_too() -> None:
    assert missing(after(proof("upper", "flush"), leave={"drains_shut": False})) == {"leaving:drains_shut"}


def test_a_neighbours_visit_is_neither_answered_nor_a_survey_here() -> None:
    boiler = Boiler().visit(0, proof("limit"))
    boiler.visits[0] = replace(boiler.visits[0], of_this_boiler=False)
    assert (boiler.judged().readiness, boiler.standing(1)) == ((), Standing.NOT_SURVEYED)


def test_not_ready_wins_over_cant_say() -> None:
    boiler = after(proof("limit", call_on=False), act("valve", "repair"))
    assert boiler.ready().answer == "not_ready"


def test_a_hold_from_an_earlier_visit_keeps_it_not_ready() -> None:
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


def test_the_example_is_not_ready_while_the_control_was_not_tripped() -> None:
    boiler = follow_up(proof("control", outcome="not_done"))
    assert boiler.ready().answer == "not_ready"
    assert missing(boiler) == {"touched"}


def test_the_example_is_not_ready_by_its_leaving_checks_alone() -> None:
    boiler = follow_up(proof("control"))
    boiler.visits[-1] = replace(boiler.visits[-1], leaving_checks={"jumpers_off": True})
    assert boiler.ready().answer == "not_ready"


def test_the_example_with_the_control_tripped_is_ready() -> None:
    assert follow_up(proof("control")).ready().answer == "ready"


@pytest.mark.parametrize(
    ("left_out", "asked"), [("", []), ("combustion_test", ["combustion"]), ("normal_restart", ["normal restart"])]
)
def test_a_service_of_a_boiler_with_a_burner_ends_with_combustion_and_a_normal_restart(
    left_out: str, asked: list[str]
) -> None:
    codes = [c for c in ("combustion_test", "normal_restart") if c != left_out]
    tests = [*EVERYTHING, *(plant.proof(ref) for ref in plant.PROVES if ref != "burner")]
    tests += [plant.proof("control", "three_cycles"), *(plant.proof("burner", code) for code in codes)]
    who = "technician|fire_side"
    boiler = plant.Plant().visit(0, *tests, kind="annual_service", who=who, leave=LEFT_RIGHT)
    told = [m.sentence.lower() for m in boiler.ready().missing]
    assert len(told) == len(asked)
    assert all(word in sentence for word, sentence in zip(asked, told, strict=True))
