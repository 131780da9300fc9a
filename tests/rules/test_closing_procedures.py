"""Which of the tests that close a finding are offered at one place: those that a device of its role can have."""

import pytest

from tests.rules.build import catalogue

CLOSES = [
    ("not_fitted", "high_limit", ["limit_trip"]),
    ("not_fitted", "upper_cutoff", ["slow_drain"]),
    ("not_fitted", "co_alarm", ["co_alarm_test"]),
    ("not_fitted_last_line", "safety_valve", ["lever_lift"]),
    ("interlock_failed", "gas_pressure_switch", ["gas_pressure_high_trip", "gas_pressure_low_trip"]),
    ("interlock_failed", "high_limit", []),
]


@pytest.mark.parametrize(("finding", "role", "tests"), CLOSES, ids=[f"{row[0]} at {row[1]}" for row in CLOSES])
def test_a_finding_at_a_place_is_closed_by_the_tests_of_what_can_be_fitted_there(
    finding: str, role: str, tests: list[str]
) -> None:
    offered = catalogue().closing_procedures(catalogue().findings[finding].clears_by, role)
    assert sorted(p.code for p in offered) == tests


def test_a_finding_of_the_boiler_as_a_whole_is_closed_by_each_test_of_its_row() -> None:
    codes = catalogue().findings["interlock_failed"].clears_by
    assert {p.code for p in catalogue().closing_procedures(codes, None)} == codes


def test_a_test_that_a_release_does_not_have_is_not_offered() -> None:
    assert catalogue().closing_procedures(["limit_trip", "no_such_test"], "high_limit") == [
        catalogue().procedures["limit_trip"]
    ]
