"""Combustion air against the worked example of the published values."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import air
from fleet.errors import Refused
from tests.engineering.outside import met, said

SOURCE = "published values 9 (S44, S45, NFPA 54)"
TOTAL = 1_275_000.0


@pytest.mark.parametrize(
    ("method", "count", "each"),
    [
        ("two_direct", 2, 318.75),
        ("two_vertical", 2, 318.75),
        ("two_horizontal", 2, 637.5),
        ("one_outdoor", 1, 425),
        ("two_indoor", 2, 1275),
    ],
)
def test_each_method_asks_for_the_printed_openings(method: str, count: int, each: float) -> None:
    found = air.openings_needed(method, TOTAL, vent_connectors_in2=150.0)
    said("air", SOURCE, f"openings of {method}", found.openings, count)
    met("air", SOURCE, f"in2 each of {method}", found.each_in2, each, rel=1e-9)


def test_the_least_indoor_opening_is_100_square_inches() -> None:
    met("air", SOURCE, "indoor pair of 50 000 Btu/h", air.openings_needed("two_indoor", 50_000).each_in2, 100, within=0)


def test_one_opening_is_never_smaller_than_the_vent_connectors() -> None:
    assert air.openings_needed("one_outdoor", 300_000, 150.0).each_in2 == 150.0
    with pytest.raises(Refused, match="connectors_missing"):
        air.openings_needed("one_outdoor", 300_000)


@pytest.mark.parametrize(("input_btu_h", "printed"), [(1_275_000, 63_750), (80_000, 4000)])
def test_the_standard_room_is_the_printed_one(input_btu_h: float, printed: float) -> None:
    met("air", SOURCE, f"room for {input_btu_h}", air.room_volume_ft3(float(input_btu_h)), printed, rel=1e-9)


def test_the_printed_room_fails() -> None:
    said("air", "S45", "20 x 18 x 8 ft for 80 000", air.judge_room(2880.0, 80_000.0).verdict, "urgent")
    said("air", "S45", "4000 ft3 for 80 000", air.judge_room(4000.0, 80_000.0).verdict, "good")


@pytest.mark.parametrize(("louvre", "printed"), [("metal", 425), ("wood", 1275), ("none", 318.75)])
def test_a_louvre_takes_its_printed_share(louvre: str, printed: float) -> None:
    met("air", SOURCE, f"behind {louvre}", air.gross_area_in2(318.75, louvre), printed, rel=1e-9)


@pytest.mark.parametrize(("ach", "printed"), [(0.35, 76_500), (0.40, 66_938)])
def test_the_room_at_a_known_air_change_is_the_printed_one(ach: float, printed: float) -> None:
    ours = air.room_volume_by_air_changes_ft3(ach, TOTAL)
    met("air", SOURCE, f"room at {ach} changes", ours, printed, rel=1e-5)


def test_at_0_40_changes_a_thousand_btu_h_take_52_5_cubic_feet() -> None:
    met("air", SOURCE, "52.5 ft3 per 1000", air.room_volume_by_air_changes_ft3(0.40, 1000.0), 52.5, rel=1e-9)


def test_more_than_0_60_changes_count_as_0_60() -> None:
    assert air.room_volume_by_air_changes_ft3(2.0, 1e6) == air.room_volume_by_air_changes_ft3(0.6, 1e6)


def test_a_burner_with_a_fan_takes_less_room() -> None:
    assert air.room_volume_by_air_changes_ft3(0.5, 0.0, 1e6) == pytest.approx(30_000)


@pytest.mark.parametrize(
    ("areas", "verdict"),
    [([319, 319], "good"), ([318.75, 318.75], "good"), ([700], "urgent"), ([319, 300], "urgent"), ([], "urgent")],
)
def test_two_openings_are_two_and_each_is_large_enough(areas: list[float], verdict: str) -> None:
    assert air.judge_openings("two_direct", TOTAL, areas).verdict == verdict


def test_an_opening_of_no_area_is_none_and_refused_with_its_place() -> None:
    with pytest.raises(Refused) as refused:
        air.judge_openings("two_direct", TOTAL, [319.0, 0.0])
    assert refused.value.faults[0].at == ("free_in2", 1)


@pytest.mark.parametrize(("sides", "free"), [((20, 20), 400), ((2.9, 100), 0), ((3, 10), 30)])
def test_an_opening_with_a_side_under_three_inches_counts_nothing(sides: tuple[float, float], free: float) -> None:
    assert air.free_area_in2(*sides) == free


@given(st.sampled_from(sorted(air.METHODS)), st.floats(1e3, 1e7), st.floats(1, 10))
def test_more_input_never_needs_less_air(method: str, input_btu_h: float, times: float) -> None:
    larger = air.openings_needed(method, input_btu_h * times, 100.0)
    assert larger.each_in2 >= air.openings_needed(method, input_btu_h, 100.0).each_in2


@given(st.floats(1, 1e4), st.sampled_from(sorted(air.LOUVRES)))
def test_the_opening_behind_a_louvre_has_the_free_area_asked_for(free: float, louvre: str) -> None:
    side = air.gross_area_in2(free + 200, louvre) ** 0.5
    assert air.free_area_in2(side, side, louvre) == pytest.approx(free + 200, rel=1e-9)


@pytest.mark.parametrize(
    ("other", "fan", "at"),
    [(0.0, 0.0, ("other_btu_h",)), (-1.0, 5.0, ("other_btu_h",)), (float("nan"), 0.0, ("other_btu_h",))],
)
def test_no_input_at_all_is_refused(other: float, fan: float, at: tuple[str]) -> None:
    with pytest.raises(Refused) as refused:
        air.room_volume_by_air_changes_ft3(0.5, other, fan)
    assert [fault.at for fault in refused.value.faults] == [at]
