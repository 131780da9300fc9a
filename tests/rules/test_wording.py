"""How dates, lists, places and the standing caution are said."""

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.rules.values import PositionFact
from fleet.rules.wording import ADVICE_CAUTION, agree, asked_for, join_with_or, local_day
from tests.rules.build import Boiler, ident

DAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


@pytest.mark.parametrize("day", [date(2026, 1, 1) + timedelta(days=n) for n in range(0, 365, 13)])
def test_a_day_is_said_with_its_weekday_and_month_in_short(day: date) -> None:
    noon = datetime(day.year, day.month, day.day, 17, tzinfo=UTC)
    weekday, month = DAYS[day.isoweekday() - 1], MONTHS[day.month - 1]
    assert local_day(noon, "America/New_York") == f"{weekday} {day.day:02} {month} {day.year}"


@pytest.mark.parametrize(
    ("zone", "said"),
    [("America/New_York", "Tue 31 Mar 2026"), ("UTC", "Wed 01 Apr 2026"), ("Pacific/Auckland", "Wed 01 Apr 2026")],
)
def test_a_day_is_that_of_the_building(zone: str, said: str) -> None:
    assert local_day(datetime(2026, 4, 1, 3, 59, tzinfo=UTC), zone) == said


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ([], ""),
        (["a"], "a"),
        (["b", "a"], "a or b"),
        (["c", "a", "b"], "a, b or c"),
        (["d", "c", "b", "a"], "a, b, c or d"),
    ],
)
def test_names_are_joined_by_or_in_their_order(names: list[str], said: str) -> None:
    assert join_with_or(names) == said


@pytest.mark.parametrize(
    ("needs", "said"),
    [
        ([["slow_drain"]], "slow drain"),
        ([["slow_drain", "evaporation"]], "evaporation test or slow drain"),
        ([["limit_trip"], ["slow_drain", "evaporation"]], "evaporation test or slow drain and limit trip"),
    ],
)
def test_what_must_still_pass_is_said_by_name(needs: list[list[str]], said: str) -> None:
    assert asked_for(Boiler().evidence(), needs) == said


PAIRS = {
    "is": "are",
    "was": "were",
    "has": "have",
    "its": "their",
    "it": "they",
    "hangs": "hang",
    "needs": "need",
}


@pytest.mark.parametrize(("one", "several"), PAIRS.items())
@pytest.mark.parametrize(
    ("role", "name", "is_plural"),
    [
        ("fuel_valves", "fuel shut-off valves", True),
        ("fuel_valves", "fuel shut-off valves ", True),
        ("fuel_valves", "main gas valve", False),
        ("try_cocks", "try cocks", True),
        ("burner", "burner", False),
        ("gauge_glass", "gauge glass", False),
        ("safety_valve", "relief valves", False),
    ],
)
def test_a_place_that_several_things_fill_takes_the_plural(
    one: str, several: str, role: str, name: str, is_plural: bool
) -> None:
    assert agree(PositionFact(ident("place"), "place", name, role), one) == (several if is_plural else one)


def test_the_caution_permits_nothing() -> None:
    assert ADVICE_CAUTION == (
        "Advice to a qualified person, never a permission. "
        "Local codes, the boiler maker's instructions and a licensed person decide."
    )
