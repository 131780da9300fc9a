"""What is said of a list that is too long, of an unknown choice, and of a judgement that could not compare it all."""

import pytest

from fleet.engineering import air
from fleet.engineering.calculation_groups import MAX_LIST_LENGTH, answer_calculation
from fleet.engineering.calculations import CALCULATIONS
from fleet.engineering.verdicts import LEVELS, EngineeringReason, judge_reasons
from fleet.errors import Refused


def test_a_list_that_is_too_long_says_how_many_are_allowed() -> None:
    code = min(CALCULATIONS)
    name = CALCULATIONS[code].inputs[0].name
    with pytest.raises(Refused) as refused:
        answer_calculation(code, {name: [1.0] * (MAX_LIST_LENGTH + 1)})
    (fault,) = refused.value.faults
    assert (fault.code, fault.at) == ("too_many", (name,))
    assert fault.message == f"{name}: At most {MAX_LIST_LENGTH} in a list."


def test_a_louvre_that_nobody_knows_is_refused_at_its_place() -> None:
    with pytest.raises(Refused) as refused:
        air.gross_area_in2(100.0, "paper")
    assert [fault.at for fault in refused.value.faults] == [("louvre",)]


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("unknown", [(), ("limit_psi",)])
def test_a_judgement_is_good_only_where_everything_could_be_compared(level: str, unknown: tuple[str, ...]) -> None:
    found = judge_reasons([EngineeringReason("code", level, "sentence")], unknown)
    assert found.verdict == (level if level != "good" else "unknown" if unknown else "good")
    assert (found.unknown, judge_reasons([], unknown).verdict) == (unknown, "unknown" if unknown else "good")
