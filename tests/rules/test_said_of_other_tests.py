"""What is said of tests of the fire side, of set points read back, and of tests that came to nothing."""

import pytest

from fleet.rules.values import EntryVerdict, Value
from fleet.rules.verdicts.fire import grade_combustion
from fleet.rules.verdicts.pressure import (
    grade_limit_calibration,
    grade_limit_trip,
    grade_operating_control_trip,
)
from tests.rules.plant import Plant, fit, proof
from tests.rules.test_verdicts_table import on_bench

PLATE = "within 5 % of its plate; over 10 % above it over-fired"
FLUE = "CO air-free under 100 ppm and steady; in the room at most 35 ppm"
LADDER = "cut-in under cut-out under high limit, 2 psi under the safety valve, nothing over 15 psi"


def judged(ref: str, code: str, outcome: str = "pass", **readings: Value) -> EntryVerdict:
    who = "technician|fire_side|gas_train"
    return Plant().service().visit(1, proof(ref, code, outcome, **readings), who=who).verdict()


# what was read otherwise than in a good combustion test: outcome, grade, sentence, limit
COMBUSTION: list[tuple[dict[str, Value], str, str, str, str]] = [
    ({}, "pass", "good", "Carbon monoxide in the flue is 26 ppm air-free.", FLUE),
    ({"co_ppm": 900.0}, "fail", "failed", "Carbon monoxide in the flue is 1183 ppm air-free: unsafe.", FLUE),
    (
        {"co_ppm": 100.0},
        "pass",
        "drifted",
        "Carbon monoxide in the flue is 131 ppm air-free: adjust the burner.",
        FLUE,
    ),
    ({"burner_firing": False}, "not_a_test", "", "The burner was off: nothing about the burner was proven.", ""),
    ({"co_trend": "rising"}, "fail", "failed", "Carbon monoxide in the flue is rising.", FLUE),
    ({"co_trend": "unstable"}, "fail", "failed", "Carbon monoxide in the flue is unstable.", FLUE),
    (
        {"o2_pct": 18.1},
        "inconclusive",
        "",
        "With 18.1 % oxygen the sample is mostly air: the combustion test has no result.",
        "oxygen at most 18 %",
    ),
    (
        {"ambient_co_ppm": 36.0},
        "fail",
        "failed",
        "36 ppm of carbon monoxide in the room: people are in danger. Carbon monoxide in the flue is 26 ppm air-free.",
        FLUE,
    ),
    (
        {"ambient_co_ppm": 10.0, "ambient_co_again_ppm": 40.0},
        "fail",
        "failed",
        "40 ppm of carbon monoxide in the room: people are in danger. Carbon monoxide in the flue is 26 ppm air-free.",
        FLUE,
    ),
]


@pytest.mark.parametrize(("readings", "outcome", "grade", "sentence", "limit"), COMBUSTION)
def test_a_combustion_test_says_what_flue_and_room_came_to(
    readings: dict[str, Value], outcome: str, grade: str, sentence: str, limit: str
) -> None:
    verdict = judged("burner", "combustion_test", **readings)
    assert (verdict.outcome, verdict.grade, verdict.sentence, verdict.limit) == (outcome, grade, sentence, limit)


@pytest.mark.parametrize(
    ("readings", "grade", "ending"),
    [
        ({"smoke_number": 2.0}, "good", "air-free."),
        ({"smoke_number": 2.1}, "drifted", "adjust"),
        ({"stack_f": 700.0}, "good", "air-free."),
        ({"stack_f": 701.0}, "drifted", "adjust"),
    ],
)
def test_smoke_and_stack_ask_to_adjust_over_their_limits(readings: dict[str, Value], grade: str, ending: str) -> None:
    verdict = judged("burner", "combustion_test", **readings)
    assert (verdict.outcome, verdict.grade, verdict.proves) == ("pass", grade, "due_only")
    assert ending in verdict.sentence


# what was read of the input: outcome, sentence
NOT_CLOCKED = "The input of the burner was neither clocked nor written down: dial, seconds and heating value."
FIRES = "The burner fires 1,000,000 Btu/h, 100% of its plate"
FIRES_LESS = "The burner fires 800,000 Btu/h, 80% of its plate"
NO_FACTOR = " if the meter needs no factor of pressure and temperature"
AT_THE_METER: dict[str, Value] = {"dial_ft3": 10.0, "seconds": 36.0, "gross_btu_ft3": 1_000.0}
INPUT: list[tuple[dict[str, Value], str, str]] = [
    ({}, "inconclusive", NOT_CLOCKED),
    ({"input_btu_h": 0.0}, "inconclusive", NOT_CLOCKED),
    ({"dial_ft3": 10.0, "seconds": 36.0}, "inconclusive", NOT_CLOCKED),
    ({**AT_THE_METER, "meter_factor": 1.0}, "pass", f"{FIRES}."),
    (AT_THE_METER, "pass", f"{FIRES}{NO_FACTOR}."),
    (
        {**AT_THE_METER, "seconds": 45.0},
        "inconclusive",
        f"{FIRES_LESS}{NO_FACTOR}: find that out before anybody adjusts the burner.",
    ),
    (
        {**AT_THE_METER, "seconds": 45.0, "meter_factor": 1.0},
        "pass",
        f"{FIRES_LESS}: adjust it.",
    ),
]


@pytest.mark.parametrize(("readings", "outcome", "sentence"), INPUT)
def test_a_clocked_input_says_what_it_came_to(readings: dict[str, Value], outcome: str, sentence: str) -> None:
    verdict = judged("burner", "clock_input", **readings)
    assert (verdict.outcome, verdict.sentence) == (outcome, sentence)
    assert (verdict.limit, verdict.set_value) == (PLATE, 1_000_000.0)


def test_an_input_without_a_plate_on_record_proves_nothing() -> None:
    entry = proof("burner", "clock_input", input_btu_h=1_000_000.0)
    verdict = Plant().service().visit(1, fit("burner"), entry).verdict()
    assert verdict.sentence.endswith("on the burner proves nothing: its input is not recorded to compare with.")
    assert (verdict.outcome, verdict.limit, verdict.set_value) == ("inconclusive", PLATE, None)


def test_set_points_that_are_not_those_posted_fail() -> None:
    verdict = judged("limit", "ladder_read_back", cut_in_psi=1.0, cut_out_psi=2.0, limit_psi=8.0, as_posted=False)
    assert (verdict.outcome, verdict.limit) == ("fail", LADDER)
    assert verdict.sentence == "The set points read back at the high limit are not those posted."


@pytest.mark.parametrize(
    ("ref", "readings", "question"),
    [
        ("limit", {"limit_psi": 8.0}, ""),
        ("limit", {"limit_psi": 9.0}, "8 psi is on record and 9 psi was read: which is right?"),
        ("limit", {"limit_psi": 8.0, "cut_out_psi": 3.0}, ""),
        ("control", {"cut_out_psi": 3.0}, "2 psi is on record and 3 psi was read: which is right?"),
        ("control", {"cut_out_psi": 2.0, "limit_psi": 9.0}, ""),
    ],
)
def test_a_set_point_read_as_another_than_is_on_record_is_asked_about_at_its_own_place(
    ref: str, readings: dict[str, Value], question: str
) -> None:
    taken: dict[str, Value] = {"cut_in_psi": 1.0, "cut_out_psi": 2.0, "limit_psi": 8.0, "as_posted": True}
    verdict = judged(ref, "ladder_read_back", **{**taken, **readings})
    assert (verdict.outcome, verdict.grade, verdict.question) == ("pass", "good", question)


@pytest.mark.parametrize(
    ("code", "grader", "name", "set_psi"),
    [
        ("limit_trip", grade_limit_trip, "high limit", 15.0),
        ("limit_calibration", grade_limit_calibration, "high limit", 15.0),
        ("operating_control_trip", grade_operating_control_trip, "operating control", None),
    ],
)
def test_a_trip_without_its_pressure_says_so(code: str, grader: object, name: str, set_psi: float | None) -> None:
    graded = grader(on_bench(code, trip_psi=None))  # type: ignore[operator]
    assert (graded.outcome, graded.set_value) == ("inconclusive", set_psi)
    assert graded.sentence == f"No trip pressure was read for the {name}."


def test_a_reading_held_against_what_nobody_recorded_proves_nothing() -> None:
    verdict = Plant().service().visit(1, fit("flame"), proof("flame")).verdict()
    assert (verdict.outcome, verdict.proves, verdict.grade) == ("inconclusive", "", "")
    assert verdict.sentence == (
        "Flame failure test on the flame safeguard proves nothing: its flame failure s is not recorded to compare with."
    )


def test_a_flue_of_which_one_gas_was_not_read_says_so() -> None:
    graded = grade_combustion(on_bench("combustion_test", co_ppm=None, o2_pct=5.0))
    assert (graded.outcome, graded.limit) == ("inconclusive", FLUE)
    assert graded.sentence == "Carbon monoxide and oxygen of the flue were not both read."
