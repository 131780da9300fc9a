"""The combustion test: flue carbon monoxide air-free (S33), its trend, and the room (S34)."""

import pytest

from fleet.rules.values import Value
from fleet.rules.verdicts.graded import GradedTest
from tests.rules.test_verdicts_table import fired, worth

# co, o2 -> outcome, grade, what fires. 280 ppm at 6.3 % is 400.8 by 20.9 and 400.0 by 21 (published values, 6.4).
FLUE = [
    (50.0, 5.0, "pass", "good", []),
    (75.0, 5.2, "pass", "good", []),
    (100.0, 9.0, "pass", "drifted", ["co_adjust"]),
    (279.0, 6.3, "pass", "drifted", ["co_adjust"]),
    (280.0, 6.3, "fail", "failed", ["co_high"]),
    (400.0, 0.0, "fail", "failed", ["co_high"]),
    (399.9, 0.0, "pass", "drifted", ["co_adjust"]),
    (100.0, 0.0, "pass", "drifted", ["co_adjust"]),
    (99.9, 0.0, "pass", "good", []),
    (100.0, 18.0, "fail", "failed", ["co_high"]),
    (100.0, 18.1, "inconclusive", "", []),
    (0.0, 20.9, "inconclusive", "", []),
    (399.0, 19.0, "inconclusive", "", []),
    (400.0, 19.0, "fail", "failed", ["co_high"]),  # mostly air, and even so too much
]


def burnt(
    co: Value = 20.0, o2: Value = 5.0, room: Value = 0.0, trend: Value = "steady", firing: bool = True
) -> GradedTest:
    told = {"co_ppm": co, "o2_pct": o2, "ambient_co_ppm": room, "co_trend": trend, "burner_firing": firing}
    return worth("combustion_test", **told)


@pytest.mark.parametrize(("co", "o2", "outcome", "grade", "rules"), FLUE)
def test_the_flue_is_judged_air_free(co: float, o2: float, outcome: str, grade: str, rules: list[str]) -> None:
    graded = burnt(co, o2)
    assert graded.outcome == outcome
    assert graded.grade == grade
    assert fired(graded) == rules


@pytest.mark.parametrize("trend", ["unstable", "rising"])
def test_carbon_monoxide_that_does_not_stand_still_is_unsafe_at_any_reading(trend: str) -> None:
    assert fired(burnt(10.0, trend=trend)) == ["co_high"]
    assert fired(burnt(10.0, o2=19.0, trend=trend)) == ["co_high"]


@pytest.mark.parametrize(("room", "rules"), [(35.0, []), (35.1, ["ambient_co"])])
def test_the_room_is_in_danger_over_35(room: float, rules: list[str]) -> None:
    assert fired(burnt(room=room)) == rules


@pytest.mark.parametrize("more", [{"o2": 20.0}, {"firing": False}, {"co": None}, {"trend": None}])
def test_the_room_counts_where_the_flue_has_no_result(more: dict[str, Value]) -> None:
    graded = burnt(room=36.0, **more)  # type: ignore[arg-type]
    assert (graded.outcome, fired(graded)) == ("fail", ["ambient_co"])


def test_flue_and_room_are_two_findings() -> None:
    assert fired(burnt(500.0, room=40.0)) == ["ambient_co", "co_high"]


def test_with_the_burner_off_the_flue_says_nothing() -> None:
    graded = burnt(900.0, firing=False)
    assert (graded.outcome, graded.faults) == ("not_a_test", ())


def test_without_the_room_it_proves_nothing() -> None:
    graded = burnt(room=None)
    assert (graded.outcome, graded.proves) == ("inconclusive", "")


def test_what_was_unsafe_stays_unsafe_although_the_room_was_not_read() -> None:
    assert fired(burnt(500.0, room=None)) == ["co_high"]


def test_a_good_one_counts_for_its_date_and_no_more() -> None:
    assert burnt().proves == "due_only"


SAID = [
    (burnt(20.0, 5.0), "Carbon monoxide in the flue is 26 ppm air-free."),
    (burnt(57.0, 9.0), "Carbon monoxide in the flue is 100 ppm air-free: adjust the burner."),
    (burnt(304.8, 5.0), "Carbon monoxide in the flue is 401 ppm air-free: unsafe."),
    (burnt(trend="rising"), "Carbon monoxide in the flue is rising."),
    (burnt(400.0, 19.0), "400 ppm of carbon monoxide in a diluted sample."),
    (burnt(399.0, 19.0), "With 19 % oxygen the sample is mostly air: the combustion test has no result."),
    (burnt(firing=False), "The burner was off: nothing about the burner was proven."),
    (
        burnt(room=36.0),
        "36 ppm of carbon monoxide in the room: people are in danger. Carbon monoxide in the flue is 26 ppm air-free.",
    ),
]


@pytest.mark.parametrize(("graded", "sentence"), SAID)
def test_what_the_flue_and_the_room_said_is_told_in_full(graded: GradedTest, sentence: str) -> None:
    assert graded.sentence == sentence
