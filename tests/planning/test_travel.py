"""Travel between houses, against a hand calculation."""

import pytest

from fleet.planning.travel import UNKNOWN_MINUTES, straight_miles, travel_between
from tests.planning.days import NEAR, ONWARD, house


def test_a_degree_of_latitude_is_about_sixty_nine_miles() -> None:
    miles = straight_miles(house("a", (40.0, -73.0)), house("b", (41.0, -73.0)))
    assert miles == pytest.approx(69.09, abs=0.01)  # 3958.8 times π / 180


def test_a_degree_of_longitude_shrinks_with_the_cosine_of_the_latitude() -> None:
    miles = straight_miles(house("a", (60.0, 10.0)), house("b", (60.0, 11.0)))
    assert miles == pytest.approx(69.09 * 0.5, abs=0.02)


def test_travel_is_the_line_times_the_road_factor_at_the_speed_of_town() -> None:
    travel = travel_between(house("a", NEAR), house("b", ONWARD))  # 1.154 mi times 1.3 / 12 mi/h = 7.5 min
    assert (travel.minutes, travel.is_known) == (8, True)


def test_within_a_house_there_is_no_travel_even_where_its_place_is_not_known() -> None:
    travel = travel_between(house("a", None), house("a", None))
    assert (travel.minutes, travel.is_known) == (0, True)


@pytest.mark.parametrize(("start", "end"), [(None, house("b")), (house("a", None), house("b")), (house("a"), None)])
def test_a_place_that_is_not_on_record_takes_the_stated_minutes_and_says_so(start: object, end: object) -> None:
    travel = travel_between(start, end)  # type: ignore[arg-type]
    assert (travel.minutes, travel.is_known) == (UNKNOWN_MINUTES, False)


def test_the_way_back_is_as_long() -> None:
    a, b = house("a", NEAR), house("b", ONWARD)
    assert travel_between(a, b) == travel_between(b, a)
