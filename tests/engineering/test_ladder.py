"""The pressure ladder against the check table of published values, section 3."""

import pytest

from fleet.engineering.ladder import Ladder, cut_in, cut_out, faults

TABLE = [
    ((0.5, 1.5, 7, 15), []),
    ((2, 5, 5, 15), [("ladder_limit_at_cut_out", "urgent")]),
    ((2, 5, 15, 15), [("ladder_limit_at_valve", "hold")]),  # printed "fail or warn": hold, the safer
    ((2, 5, 16, 15), [("ladder_over_fifteen", "hold"), ("ladder_limit_at_valve", "hold")]),
    ((2, 12, 13, 15), [("ladder_operating_gap", "routine")]),
    ((2, 5, 13.5, 15), [("ladder_limit_gap", "urgent")]),
    ((2, 5, 13, 15), []),
    ((2, 10, 12, 15), []),
    ((5, 5, 12, 15), [("ladder_cut_in", "urgent")]),
    ((2, 5, 12, 16), [("ladder_over_fifteen", "hold")]),
    ((None, None, None, None), []),
    ((None, None, 14, None), []),
]


@pytest.mark.parametrize(("rungs", "expected"), TABLE)
def test_each_ladder_of_the_table_gets_its_class(
    rungs: tuple[float | None, ...], expected: list[tuple[str, str]]
) -> None:
    assert [(f.code, f.level) for f in faults(Ladder(*rungs))] == expected


def test_an_additive_control_opens_at_its_scale_plus_the_differential() -> None:
    assert (cut_in(0.5, 1.0, "additive"), cut_out(0.5, 1.0, "additive")) == (0.5, 1.5)


def test_a_subtractive_control_closes_at_its_scale_minus_the_differential() -> None:
    assert (cut_in(2.0, 1.5, "subtractive"), cut_out(2.0, 1.5, "subtractive")) == (0.5, 2.0)


def test_an_unknown_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="additive or subtractive"):
        cut_out(1.0, 1.0, "sideways")
