"""The burner's input: worked out from meter or nozzle, else as written down, against its plate of 1,000,000 Btu/h."""

import pytest

from fleet.rules.values import Value
from tests.rules.test_verdicts_table import fired, worth

# Published values 6.5: 3600 s/h x ft3 x Btu/ft3 / s. 10 ft3 of 1,000 Btu/ft3 in 36 s are 1,000,000 Btu/h.
GAS = {"dial_ft3": 10.0, "gross_btu_ft3": 1_000.0}
OIL = {"nozzle_gph": 5.0, "gross_btu_gal": 140_000.0}


@pytest.mark.parametrize(
    ("read", "outcome", "grade", "rules"),
    [
        ({"input_btu_h": 1_000_000.0}, "pass", "good", []),
        ({"input_btu_h": 1_050_000.0}, "pass", "good", []),
        ({"input_btu_h": 1_051_000.0}, "pass", "drifted", []),
        ({"input_btu_h": 1_100_000.0}, "pass", "drifted", []),
        ({"input_btu_h": 1_101_000.0}, "fail", "failed", ["over_fired"]),
        ({"input_btu_h": 949_000.0}, "pass", "drifted", []),
        ({"input_btu_h": 500_000.0}, "pass", "drifted", []),  # under its plate it is adjusted, not accused
        ({**GAS, "seconds": 36.0}, "pass", "good", []),
        ({**GAS, "seconds": 33.0, "meter_factor": 1.0}, "pass", "drifted", []),
        ({**GAS, "seconds": 33.0}, "inconclusive", "", []),  # its meter may need a factor that nobody read
        ({**GAS, "seconds": 39.0}, "inconclusive", "", []),
        ({"dial_ft3": 10.0, "input_btu_h": 949_000.0}, "pass", "drifted", []),  # as written down, not at the meter
        ({**GAS, "seconds": 32.0}, "fail", "failed", ["over_fired"]),
        ({**OIL, "pump_psi": 200.0}, "pass", "good", []),  # 5 x sqrt(2) x 140,000 = 989,949
        ({**OIL, "pump_psi": 300.0}, "fail", "failed", ["over_fired"]),
        ({}, "inconclusive", "", []),
        ({"input_btu_h": 0.0}, "inconclusive", "", []),
        ({"dial_ft3": 10.0, "seconds": 36.0}, "inconclusive", "", []),  # without a heating value it is no input
    ],
)
def test_the_input_is_held_against_the_plate(
    read: dict[str, Value], outcome: str, grade: str, rules: list[str]
) -> None:
    graded = worth("clock_input", **read)
    assert graded.outcome == outcome
    assert graded.grade == grade
    assert fired(graded) == rules


def test_what_was_read_goes_before_what_was_worked_out_by_hand() -> None:
    graded = worth("clock_input", input_btu_h=1_000_000.0, seconds=30.0, **GAS)
    assert graded.outcome == "fail"
    assert "1,200,000 Btu/h, 120% of its plate" in graded.sentence


def test_without_its_plate_nothing_is_compared() -> None:
    graded = worth("clock_input", plate={}, input_btu_h=1_000_000.0)
    assert graded.outcome == "inconclusive"
    assert graded.faults == ()
    assert "not recorded" in graded.sentence
