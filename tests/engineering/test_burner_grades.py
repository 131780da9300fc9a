"""Grades of what is read at a burner, below, at and above every bound."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import burner_grades
from fleet.engineering.burner_grades import grade_flue_co, grade_input, grade_room_co, grade_smoke, grade_stack

FLUE = [  # ppm, oxygen %, steady: verdict, code
    (399.0, 0.0, True, "urgent", "co_adjust"),
    (399.9, 0.0, True, "urgent", "co_adjust"),
    (399.96, 0.0, True, "hold", "co_high"),
    (400.0, 0.0, True, "hold", "co_high"),
    (401.0, 0.0, True, "hold", "co_high"),
    (200.0, 10.45, True, "hold", "co_high"),  # exactly twice as much without its air
    (99.0, 0.0, True, "good", None),
    (99.9, 0.0, True, "good", None),
    (99.96, 0.0, True, "urgent", "co_adjust"),
    (100.0, 0.0, True, "urgent", "co_adjust"),
    (50.0, 10.45, True, "urgent", "co_adjust"),
    (49.0, 10.45, True, "good", None),
    (0.0, 5.0, False, "hold", "co_unsteady"),
    (20.0, 18.0, True, "urgent", "co_adjust"),
    (10.0, 17.99, True, "good", None),
    (10.0, 18.004, True, "good", None),
    (10.0, 18.01, True, "inconclusive", "co_no_result"),
    (399.96, None, True, "hold", "co_high"),
    (10.0, 21.0, True, "inconclusive", "co_no_result"),
    (399.9, 18.01, True, "inconclusive", "co_no_result"),
    (400.0, 18.01, True, "hold", "co_high"),
    (400.0, None, True, "hold", "co_high"),
    (399.9, None, True, "inconclusive", "co_not_read"),
    (None, 5.0, True, "inconclusive", "co_not_read"),
    (None, 19.0, True, "inconclusive", "co_no_result"),
    (None, None, False, "hold", "co_unsteady"),
]


@pytest.mark.parametrize(("ppm", "oxygen", "steady", "verdict", "code"), FLUE)
def test_carbon_monoxide_in_the_flue_is_graded_air_free(
    ppm: float | None, oxygen: float | None, steady: bool, verdict: str, code: str | None
) -> None:
    found = grade_flue_co(ppm, oxygen, steady)
    assert (found.verdict, found.reasons[0].code if found.reasons else None) == (verdict, code)


ROOM = [  # ppm, outdoors, again, firing: verdict, code
    (35.0, 30.0, None, True, "good", None),
    (35.04, 30.0, None, True, "good", None),
    (35.1, 30.0, None, True, "hold", "co_in_the_room"),
    (8.96, 0.0, None, True, "inconclusive", "co_read_again"),
    (9.0, 0.0, 9.04, True, "urgent", "co_raised_in_room"),
    (5.0, 0.0, 8.96, True, "hold", "co_rises_in_room"),
    (8.96, 0.0, 8.96, True, "urgent", "co_raised_in_room"),
    (5.0, 0.0, 35.1, True, "hold", "co_in_the_room"),
    (8.9, 0.0, None, True, "good", None),
    (9.0, 0.0, None, True, "inconclusive", "co_read_again"),
    (10.9, 2.0, None, True, "good", None),
    (11.0, 2.0, None, True, "inconclusive", "co_read_again"),
    (9.0, 0.0, 9.0, True, "urgent", "co_raised_in_room"),
    (12.0, 0.0, 9.0, True, "urgent", "co_raised_in_room"),
    (12.0, 0.0, 8.9, True, "inconclusive", "co_read_again"),
    (30.0, 0.0, 2.0, True, "inconclusive", "co_read_again"),
    (2.0, 0.0, 30.0, False, "inconclusive", "co_read_again"),
    (8.9, 0.0, 8.9, True, "good", None),
    (9.0, 0.0, 9.1, True, "hold", "co_rises_in_room"),
    (5.0, 0.0, 9.0, True, "hold", "co_rises_in_room"),
    (5.0, 0.0, 8.9, True, "good", None),
    (9.0, 0.0, 12.0, False, "urgent", "co_raised_in_room"),
    (5.0, 0.0, 12.0, False, "inconclusive", "co_read_again"),
]


@pytest.mark.parametrize(("ppm", "outdoors", "again", "firing", "verdict", "code"), ROOM)
def test_carbon_monoxide_in_the_room_is_graded_over_that_outdoors(
    ppm: float, outdoors: float, again: float | None, firing: bool, verdict: str, code: str | None
) -> None:
    found = grade_room_co(ppm, outdoors, again_ppm=again, firing=firing)
    assert (found.verdict, found.reasons[0].code if found.reasons else None) == (verdict, code)


def test_each_verdict_says_what_to_do() -> None:
    assert grade_room_co(36.0).sentences == (
        "36 ppm carbon monoxide in the room, over 35: get everybody out, call from outside.",
    )
    assert grade_room_co(9.0).sentences == ("9 ppm in the room, 9 ppm or more over outdoors: read it again.",)
    assert grade_room_co(9.0, again_ppm=10.0).sentences == (
        "Carbon monoxide in the room rises from 9 to 10 ppm while the burner fires: shut it down and air the room.",
    )
    assert grade_room_co(9.0, again_ppm=9.0).sentences == (
        "Twice 9 ppm or more over outdoors in the room: find where it comes from.",
    )
    assert grade_flue_co(400.0, 0.0).sentences == (
        "400 ppm carbon monoxide air-free, 400 or more: shut the burner down.",
    )
    assert grade_flue_co(100.0, 0.0).sentences == (
        "100 ppm carbon monoxide air-free, 100 or more: have the burner adjusted.",
    )
    assert grade_flue_co(400.0, 19.0).sentences == (
        "400 ppm carbon monoxide as read, 400 or more: shut the burner down.",
    )
    assert grade_flue_co(1.0, 19.0).sentences == (
        "No result: 19 % oxygen is over 18, hardly any flue gas is in the sample.",
    )
    assert grade_flue_co(None, 5.0).sentences == (
        "No result: carbon monoxide and oxygen of the flue were not both read.",
    )
    assert grade_flue_co(1.0, 5.0, False).sentences == (
        "Carbon monoxide in the flue is not steady: shut the burner down.",
    )


@pytest.mark.parametrize(
    ("number", "most", "verdict"),
    [(2.0, None, "good"), (2.01, None, "urgent"), (1.0, 1.0, "good"), (2.0, 1.0, "urgent"), (3.0, 4.0, "good")],
)
def test_smoke_is_graded_by_the_maker_s_number_else_by_two(number: float, most: float | None, verdict: str) -> None:
    assert grade_smoke(number, most).verdict == verdict


@pytest.mark.parametrize(
    ("stack", "most", "verdict"),
    [
        (700.0, None, "good"),
        (700.04, None, "good"),
        (700.1, None, "urgent"),
        (450.0, 450.0, "good"),
        (450.1, 450.0, "urgent"),
    ],
)
def test_a_stack_is_graded_by_the_maker_s_limit_else_by_700(stack: float, most: float | None, verdict: str) -> None:
    assert grade_stack(stack, most).verdict == verdict


def test_smoke_and_stack_say_their_limit() -> None:
    assert grade_smoke(3.0).sentences == ("Smoke number 3, over 2: have the burner adjusted.",)
    assert grade_stack(800.0).sentences == ("The stack is at 800 F, over 700: clean and adjust.",)
    assert (grade_smoke(3.0).reasons[0].code, grade_stack(800.0).reasons[0].code) == ("smoke_high", "stack_hot")


INPUT = [  # Btu/h of a plate of 400,000: verdict, code
    (400_000, "good", None),
    (420_000, "good", None),
    (420_016, "good", None),
    (420_100, "routine", "fires_over_plate"),
    (440_016, "routine", "fires_over_plate"),
    (380_000, "good", None),
    (379_900, "routine", "fires_under_plate"),
    (440_000, "routine", "fires_over_plate"),
    (440_100, "urgent", "over_fired"),
    (200_000, "routine", "fires_under_plate"),
]


@pytest.mark.parametrize(("input_btu_h", "verdict", "code"), INPUT)
def test_an_input_is_graded_by_its_distance_from_the_plate(input_btu_h: float, verdict: str, code: str | None) -> None:
    found = grade_input(input_btu_h, 400_000)
    assert (found.verdict, found.reasons[0].code if found.reasons else None) == (verdict, code)


def test_an_input_says_how_far_off_it_is() -> None:
    assert grade_input(500_000, 400_000).sentences == (
        "The burner fires 25.0% over the name plate: adjust it, and compare the safety valves with the larger input.",
    )
    assert grade_input(300_000, 400_000).sentences == (
        "The burner fires 25.0% under the name plate: adjust it at the next service.",
    )


@pytest.mark.parametrize(
    ("input_btu_h", "verdict"),
    [(420_000, "good"), (380_000, "good"), (420_100, "inconclusive"), (379_900, "inconclusive"), (440_100, "urgent")],
)
def test_on_an_assumed_figure_nobody_is_told_to_adjust_the_burner(input_btu_h: float, verdict: str) -> None:
    found = grade_input(input_btu_h, 400_000, is_assumed=True)
    assert found.verdict == verdict
    assert any("adjust it" in sentence for sentence in found.sentences) is False


@given(st.floats(0, 20_000), st.floats(0, 18))
def test_without_its_air_carbon_monoxide_is_never_less(ppm: float, oxygen: float) -> None:
    assert burner_grades.air_free_ppm(ppm, oxygen) >= ppm


@pytest.mark.parametrize(
    ("ppm", "text"),
    [(99.4, "99"), (99.6, "99.6"), (99.96, "100"), (100.4, "100"), (399.4, "399"), (399.5, "399.5"), (400.0, "400")],
)
def test_carbon_monoxide_is_never_shown_on_the_other_side_of_its_bound(ppm: float, text: str) -> None:
    assert burner_grades.air_free_text(ppm) == text
