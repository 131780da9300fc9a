"""The grade of a trip: good, drifted or failed, below, at and above every bound."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import trips
from fleet.engineering.trips import CutoffLevels, grade_control_trip, grade_cutoff_trip, grade_limit_trip
from fleet.engineering.units import convert
from tests.engineering.outside import said


def retyped(value: float, unit: str = "psi") -> float:
    """The value as it comes back from somebody who reads and types SI units."""
    si = {"psi": "kPa", "in": "mm"}[unit]
    return convert(convert(value, unit, si), si, unit)


CONTROL = [  # trip, set, differential, limit: grade
    (1.5, 1.5, 1.0, 7.0, "good"),
    (2.0, 1.5, 1.0, 7.0, "good"),
    (1.0, 1.5, 1.0, 7.0, "good"),
    (2.01, 1.5, 1.0, 7.0, "drifted"),
    (0.99, 1.5, 1.0, 7.0, "drifted"),
    (6.0, 1.5, 1.0, 7.0, "drifted"),
    (6.01, 1.5, 1.0, 7.0, "failed"),
    (6.0, 5.0, 5.0, None, "good"),
    (6.01, 5.0, 5.0, None, "drifted"),
    (5.5, 5.0, 2.5, None, "good"),
    (5.51, 5.0, 2.5, None, "drifted"),
    (5.52, 5.0, 2.6, None, "good"),
    (5.53, 5.0, 2.6, None, "drifted"),
    (5.6, 5.0, None, None, "drifted"),
    (9.0, None, None, 10.0, "good"),
    (9.01, None, None, 10.0, "failed"),
    (14.0, 14.0, 1.0, None, "good"),
    (14.01, 14.0, 1.0, None, "failed"),
    (14.01, 14.0, 1.0, 30.0, "failed"),  # no rung lies over 15, whatever is on record
    (20.0, 20.0, 1.0, None, "failed"),
    (300.0, 300.0, 1.0, None, "failed"),
    (6.004, 1.5, 1.0, 7.0, "drifted"),  # 6 to the last place
    (2.004, 1.5, 1.0, 7.0, "good"),
    (14.004, 14.0, 1.0, 15.004, "good"),
]


@pytest.mark.parametrize(("trip", "set_psi", "differential", "limit", "grade"), CONTROL)
def test_an_operating_control_is_graded_by_its_set_point_and_the_limit(
    trip: float, set_psi: float | None, differential: float | None, limit: float | None, grade: str
) -> None:
    assert grade_control_trip(trip, set_psi, differential, limit).grade == grade
    assert grade_control_trip(retyped(trip), set_psi, differential, limit).grade == grade


LIMIT = [  # trip, set, valve: grade
    (7.0, 7.0, 15.0, "good"),
    (8.0, 7.0, 15.0, "good"),
    (8.2, 7.2, 15.0, "good"),  # their difference is over 1 in binary
    (6.0, 7.0, 15.0, "good"),
    (8.01, 7.0, 15.0, "drifted"),
    (5.99, 7.0, 15.0, "drifted"),
    (13.0, 7.0, 15.0, "drifted"),
    (13.01, 7.0, 15.0, "failed"),
    (13.01, 13.0, None, "failed"),
    (13.0, 13.0, None, "good"),
    (15.0, 15.0, None, "failed"),
    (13.01, 13.0, 30.0, "failed"),
    (10.0, 10.0, 12.0, "good"),
    (10.01, 10.0, 12.0, "failed"),
    (10.3, 10.3, 12.3, "good"),
    (12.9, None, 15.0, "good"),
    (13.004, 7.0, 15.0, "drifted"),
    (8.004, 7.0, 15.0, "good"),
]


@pytest.mark.parametrize(("trip", "set_psi", "valve", "grade"), LIMIT)
def test_a_limit_is_graded_by_its_set_point_and_the_valve(
    trip: float, set_psi: float | None, valve: float | None, grade: str
) -> None:
    assert grade_limit_trip(trip, set_psi, valve).grade == grade
    assert grade_limit_trip(retyped(trip), set_psi, valve).grade == grade


CUTOFF = [  # trip, levels: grade, why
    (2.5, {"reference_in": 2.5, "lowest_in": 0.5, "under_in": 1.0}, "good", ""),
    (3.0, {"reference_in": 2.5, "lowest_in": 0.5, "under_in": 1.0}, "good", ""),
    (2.0, {"reference_in": 2.5}, "good", ""),
    (3.01, {"reference_in": 2.5, "under_in": 1.0}, "drifted", "off_reference"),
    (1.99, {"reference_in": 2.5}, "drifted", "off_reference"),
    (0.9, {"reference_in": 1.0}, "good", ""),  # lawful: still in sight (S8)
    (0.9, {"reference_in": 2.5}, "drifted", "off_reference"),
    (0.01, {"reference_in": 0.4}, "good", ""),
    (0.0, {"reference_in": 0.4}, "failed", "too_low"),
    (-0.5, {}, "failed", "too_low"),
    (1.5, {"reference_in": 2.5, "lowest_in": 1.5}, "drifted", "off_reference"),
    (1.5, {"reference_in": 1.5, "lowest_in": 1.5}, "good", ""),
    (1.49, {"reference_in": 1.5, "lowest_in": 1.5}, "failed", "under_lowest_line"),
    (0.5, {"lowest_in": -1.0}, "good", ""),
    (10.0, {"reference_in": 10.0, "glass_top_in": 10.0}, "good", ""),
    (10.01, {"reference_in": 10.0, "glass_top_in": 10.0}, "failed", "over_glass"),
    (1.0, {"reference_in": 1.0, "under_in": 1.0}, "failed", "out_of_order"),
    (1.01, {"reference_in": 1.0, "under_in": 1.0}, "good", ""),
    (2.5, {"reference_in": 2.5, "over_in": 2.5}, "failed", "out_of_order"),
    (2.49, {"reference_in": 2.5, "over_in": 2.5}, "good", ""),
    (-1.0, {"under_in": 1.0, "glass_top_in": 10.0}, "failed", "too_low"),
    (2.0, {}, "good", ""),
    (0.004, {}, "failed", "too_low"),
    (1.496, {"lowest_in": 1.5}, "good", ""),
    (10.004, {"glass_top_in": 10.0}, "good", ""),
    (1.004, {"under_in": 1.0}, "failed", "out_of_order"),
    (2.496, {"over_in": 2.5}, "failed", "out_of_order"),
    (3.004, {"reference_in": 2.5}, "good", ""),
]


@pytest.mark.parametrize(("trip", "levels", "grade", "why"), CUTOFF)
def test_a_cutoff_s_trip_is_graded_by_its_height(trip: float, levels: dict[str, float], grade: str, why: str) -> None:
    found = grade_cutoff_trip(trip, CutoffLevels(**levels))
    said("trips", "S8; published values 4.2", f"trip at {trip}", (found.grade, found.why), (grade, why))
    again = grade_cutoff_trip(retyped(trip, "in"), CutoffLevels(**levels))
    assert (again.grade, again.why) == (grade, why)


@pytest.mark.parametrize("drop", [0.5, 0.4, 0.1])
def test_a_cutoff_that_creeps_down_half_an_inch_a_time_is_not_good_for_ever(drop: float) -> None:
    """Held against its mark, not against its last trip."""
    heights = [round(2.5 - drop * step, 2) for step in range(1, 26) if drop * step <= 2.5]
    grades = [grade_cutoff_trip(height, CutoffLevels(reference_in=2.5)).grade for height in heights]
    assert grades == ["good" if h >= 2 else "drifted" if h > 0 else "failed" for h in heights]


def test_a_grade_says_the_bound_and_how_near_is_good() -> None:
    control, limit = grade_control_trip(2.0, 1.5, 4.0, 8.0), grade_limit_trip(7.0, 7.0, 12.0)
    cutoffs = [grade_cutoff_trip(2.0, CutoffLevels(lowest_in=lowest)) for lowest in (None, 1.5, -1.0)]
    assert (control.bound, control.near) == (7.0, pytest.approx(0.8))
    assert (limit.bound, limit.near) == (10.0, 1.0)
    assert [(cutoff.bound, cutoff.near) for cutoff in cutoffs] == [(0.0, 0.5), (1.5, 0.5), (0.0, 0.5)]


def test_what_is_not_good_says_why_in_a_sentence_and_a_good_trip_says_nothing() -> None:
    assert grade_control_trip(2.0, 2.0, 1.0, 7.0).sentences == ()
    assert grade_control_trip(14.5, 2.0, 1.0, None).sentences == (
        "It opened at 14.5 psi, over the 14 psi that leave the high limit its room.",
    )
    assert grade_limit_trip(14.0, 7.0, 15.0).sentences == (
        "It tripped at 14 psi, over the 13 psi that leave the safety valve its room.",
    )
    assert grade_limit_trip(9.0, 7.0, 15.0).sentences == ("It acted at 9 psi, more than 1 psi from 7: adjust it.",)


@pytest.mark.parametrize(
    ("trip", "levels", "sentence"),
    [
        (0.0, {}, "It tripped at 0 in, where no water is left in the glass."),
        (1.0, {"lowest_in": 1.5}, "It tripped at 1 in, under the lowest safe line at 1.5 in."),
        (9.0, {"glass_top_in": 8.0}, "It tripped at 9 in, over the top of the glass at 8 in."),
        (1.0, {"under_in": 2.5}, "It tripped at 1 in, not over the cutoff that must act after it, 2.5 in."),
        (2.5, {"over_in": 1.0}, "It tripped at 2.5 in, not under the cutoff that must act before it, 1 in."),
        (4.0, {"reference_in": 2.5}, "It acted at 4 in, more than 0.5 in from 2.5: adjust it."),
    ],
)
def test_each_fault_of_a_height_has_its_sentence(trip: float, levels: dict[str, float], sentence: str) -> None:
    assert grade_cutoff_trip(trip, CutoffLevels(**levels)).sentences == (sentence,)


@pytest.mark.parametrize(("psi", "enough"), [(4.99, False), (4.996, True), (5.0, True), (5.01, True)])
def test_a_lever_lift_needs_five_psi(psi: float, enough: bool) -> None:
    assert (trips.is_lever_pressure(psi), trips.is_lever_pressure(retyped(psi))) == (enough, enough)


@pytest.mark.parametrize(("minutes", "enough"), [(2.99, False), (2.996, True), (3.0, True), (3.01, True)])
def test_a_manual_reset_stays_off_three_minutes(minutes: float, enough: bool) -> None:
    assert trips.has_stayed_off(minutes) == enough


@pytest.mark.parametrize(
    ("checked", "trip", "reset", "fallen"),
    [
        (4.1, 8.2, None, True),
        (4.11, 8.2, None, False),
        (5.99, 8.2, 6.0, True),
        (6.0, 8.2, 6.0, False),
        (0.0, 0.0, None, True),
        (4.102, 8.2, None, True),
        (5.996, 8.2, 6.0, False),
    ],
)
def test_a_control_is_watched_until_its_pressure_has_fallen(
    checked: float, trip: float, reset: float | None, fallen: bool
) -> None:
    assert trips.has_fallen(checked, trip, reset) == fallen


@pytest.mark.parametrize(
    ("read", "recorded", "same"),
    [(7.25, 7.0, True), (7.254, 7.0, True), (7.26, 7.0, False), (6.75, 7.0, True), (6.74, 7.0, False)],
)
def test_a_setting_is_read_back_within_a_quarter_psi(read: float, recorded: float, same: bool) -> None:
    assert trips.is_read_back(read, recorded) == same
    assert trips.is_read_back(read, None)


def test_no_rung_lies_over_fifteen() -> None:
    assert [trips.lowest_rung_psi(psi) for psi in (None, 14.99, 15.0, 15.01, 30.0)] == [15.0, 14.99, 15.0, 15.0, 15.0]


GRID = [tenth / 10 for tenth in range(10, 155)]


def test_on_a_grid_of_tenths_no_grade_flips_by_binary_rounding() -> None:
    """Every trip that lies exactly one psi from its set point is good, all over the scale, and a hundredth more not."""
    pairs = [(psi, round(psi + apart, 1)) for psi, apart in product(GRID, (-1.0, 1.0)) if psi + apart <= 13]
    assert len(pairs) > 200
    assert {grade_limit_trip(trip, psi, None).grade for psi, trip in pairs} == {"good"}
    beyond = [(psi, round(trip + (0.01 if trip > psi else -0.01), 2)) for psi, trip in pairs if trip < 12.9]
    assert {grade_limit_trip(trip, psi, None).grade for psi, trip in beyond} == {"drifted"}


PSI = st.floats(0, 60)
MAYBE_PSI = st.none() | PSI
HEIGHT = st.floats(-5, 40)
MAYBE_HEIGHT = st.none() | HEIGHT
ORDER = ("good", "drifted", "failed")


@given(PSI, PSI, MAYBE_PSI)
def test_a_trip_over_thirteen_is_never_good_for_a_limit(trip: float, set_psi: float, valve: float | None) -> None:
    assert trip < 13.005 or grade_limit_trip(trip, set_psi, valve).grade == "failed"


@given(PSI, PSI, PSI, MAYBE_PSI)
def test_a_trip_over_fourteen_is_never_good_for_a_control(
    trip: float, set_psi: float, differential: float, limit: float | None
) -> None:
    assert trip < 14.005 or grade_control_trip(trip, set_psi, differential, limit).grade == "failed"


@given(HEIGHT, MAYBE_HEIGHT, MAYBE_HEIGHT, MAYBE_HEIGHT, MAYBE_HEIGHT)
def test_a_trip_out_of_sight_is_never_good_for_a_cutoff(
    trip: float, reference: float | None, lowest: float | None, under: float | None, over: float | None
) -> None:
    levels = CutoffLevels(reference, lowest, None, under_in=under, over_in=over)
    assert trip > 0.005 or grade_cutoff_trip(trip, levels).grade == "failed"


@given(HEIGHT, MAYBE_HEIGHT, MAYBE_HEIGHT, HEIGHT)
def test_a_line_that_comes_on_record_never_makes_a_grade_better(
    trip: float, reference: float | None, lowest: float | None, line: float
) -> None:
    before = grade_cutoff_trip(trip, CutoffLevels(reference)).grade
    after = grade_cutoff_trip(trip, CutoffLevels(reference, line, under_in=lowest)).grade
    assert ORDER.index(after) >= ORDER.index(before)
