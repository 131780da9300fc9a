"""What the answer after a visit says, in full: every line that stands between the boiler and service."""

from dataclasses import replace

import pytest

from fleet.rules.values import EntryFact, MissingItem, Value
from tests.rules.build import FULL, LEFT_RIGHT, Boiler, act, at, ident, proof, remove, see
from tests.rules.test_readiness import after, missing


def line(boiler: Boiler, what: str) -> MissingItem:
    (found,) = [m for m in boiler.ready().missing if m.what == what]
    return found


KEEPS = proof("upper", "flush", burner_stopped=False)
LINES: list[tuple[Boiler, MissingItem]] = [
    (
        after(KEEPS),
        MissingItem(
            "hold:flush_keeps_firing",
            "Hold open since Thu 16 Oct 2025: The burner kept firing while the upper cutoff was flushed.",
            ident("upper"),
            at(1),
        ),
    ),
    (
        after(KEEPS),
        MissingItem(
            "state:failed",
            "The burner kept firing while the upper cutoff was flushed. (Thu 16 Oct 2025)",
            ident("upper"),
            at(1),
        ),
    ),
    (
        after(remove("upper")),
        MissingItem("state:not_fitted", "No upper cutoff is fitted.", ident("upper"), at(1)),
    ),
    (
        after(act("limit", "adjust")),
        MissingItem("touched", "The high limit was touched and has not passed limit trip since.", ident("limit")),
    ),
    (
        after(proof("limit", call_on=False)),
        MissingItem("inconclusive", "The test of the high limit in this visit was inconclusive.", ident("limit")),
    ),
    (
        after(proof("limit"), leave={**LEFT_RIGHT, "drains_shut": False}),
        MissingItem("leaving:drains_shut", "Leaving check answered no: drains shut."),
    ),
    (
        after(proof("limit"), leave={k: v for k, v in LEFT_RIGHT.items() if k != "told"}),
        MissingItem("leaving:told", "Leaving check not answered: somebody told."),
    ),
]


@pytest.mark.parametrize(("boiler", "expected"), LINES, ids=[m.what for _, m in LINES])
def test_each_line_names_its_place_its_day_and_what_is_wrong(boiler: Boiler, expected: MissingItem) -> None:
    assert line(boiler, expected.what) == expected


def test_what_was_not_looked_at_says_what_is_known_of_it() -> None:
    found = {m.position: (m.what, m.sentence) for m in after(proof("limit")).ready().not_looked_at}
    assert found[ident("valve")] == (
        "not_looked_at",
        "Nothing was proven or failed on the safety valve in this visit. "
        "The safety valve passed its lever lift on Wed 15 Oct 2025.",
    )


@pytest.mark.parametrize("answer", ["yes", "", 1.0, None])
def test_only_a_plain_yes_answers_a_leaving_check(answer: Value) -> None:
    assert missing(after(proof("limit"), leave={**LEFT_RIGHT, "told": answer})) == {"leaving:told"}  # type: ignore[dict-item]


PLAIN = [proof("limit", outcome="not_done"), proof("upper", "flush")]
HANDS_ON = [
    see("limit", "reset_pressed"),
    act("limit", "reset"),
    proof("limit"),
    proof("limit", outcome="inconclusive"),
]


@pytest.mark.parametrize("entry", PLAIN)
def test_looking_flushing_and_what_was_not_done_leave_all_as_it_was(entry: EntryFact) -> None:
    boiler = after(entry, leave={}, kind="routine_check")
    assert boiler.ready().at < boiler.visits[-1].at


@pytest.mark.parametrize("entry", HANDS_ON)
def test_whoever_had_it_in_hand_is_asked_how_it_was_left(entry: EntryFact) -> None:
    assert "leaving:told" in missing(after(entry, leave={}))


def serviced(*entries: EntryFact, without: str = "") -> Boiler:
    told = [proof(ref) for ref in FULL if ref not in {without, *(_ref(e) for e in entries)}]
    return Boiler().service().visit(1, *told, *entries, leave=LEFT_RIGHT, kind="annual_service")


def _ref(entry: EntryFact) -> str:
    return next(ref for ref in FULL if ident(ref) == entry.position)


def ends_with(boiler: Boiler) -> list[str]:
    return [m.sentence for m in boiler.ready().missing if m.what == "service"]


CYCLES = "This visit must end with three cycles watched of the operating control."


@pytest.mark.parametrize(
    ("control", "told"),
    [
        (proof("control", cycles=3.0), []),
        (proof("control", cycles=2.0), [CYCLES]),
        (proof("control", cycles=None), [CYCLES]),
        (proof("control", cycles=True), [CYCLES]),
        (proof("control", cycles=3.0, trip_psi=7.5), [CYCLES]),  # counted on a test it failed
    ],
)
def test_a_service_ends_with_three_cycles_of_a_control_that_passed(control: EntryFact, told: list[str]) -> None:
    assert ends_with(serviced(control)) == told


def test_no_control_no_cycles() -> None:
    boiler = serviced(without="control")
    boiler.fittings = [f for f in boiler.fittings if f.position != ident("control")]
    assert ends_with(boiler) == []


def test_what_failed_in_a_service_is_told_as_failed_and_not_as_left_out() -> None:
    boiler = serviced(proof("limit", trip_psi=13.5))
    assert ends_with(boiler) == []
    assert missing(boiler) == {"hold:limit_failed", "state:failed"}


def test_what_a_service_left_out_is_told_with_the_tests_that_would_do() -> None:
    boiler = serviced(without="lower")
    assert ends_with(boiler) == [
        "This visit must prove the lower cutoff by evaporation test or slow drain, and did not."
    ]


def test_a_doubtful_operating_control_was_not_examined() -> None:
    assert {m.what for m in after(proof("control", trip_psi=None)).ready().missing} == {"inconclusive"}


def test_a_hold_of_a_visit_before_is_told_with_its_own_day() -> None:
    boiler = after(KEEPS).visit(9, proof("valve"), leave=LEFT_RIGHT)
    assert line(boiler, "hold:flush_keeps_firing") == replace(LINES[0][1])
