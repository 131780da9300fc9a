"""What each cell of a day book says: when and at what cost, or why not."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.planning.day_cells import cell_words, fill_cells
from fleet.planning.day_values import DayCell, DayPerson, DayWork, HeldSkill, PlannedStop
from fleet.planning.start_ranges import LEAD, STEP
from fleet.portfolio.access import is_accessible
from tests.planning.days import (
    DAY,
    EVENING_BEFORE,
    LONG_AGO,
    ONWARD,
    TECHNICIAN,
    ZONE,
    house,
    local,
    make_id,
    person,
    stop,
    work,
)


def read_cell(asked: DayWork, *people: DayPerson, day: date = DAY, at: datetime = EVENING_BEFORE) -> DayCell:
    return fill_cells(asked, people, day=day, at=at)[0]


def say_cell(asked: DayWork, *people: DayPerson, **more: Any) -> str:
    return cell_words(read_cell(asked, *people, **more), asked.zone)


FAR = house("eelpond", ONWARD)  # 8 minutes from Quince Street
MORNING = ((8 * 60, 11 * 60),)
HOUSE_NOT_ON_MAP = house("orchard", None)


@pytest.mark.parametrize(
    ("asked", "who", "words"),
    [
        (work(), person(), "08:00"),
        (work(), person("kemal", stop("08:00", "09:30", FAR)), "09:40 +8 min"),  # 09:38 on a clock that shows 5 minutes
        (
            work(),
            person("kemal", stop("09:05", "10:00", FAR)),
            "10:10 +8 min",
        ),  # an hour and 8 minutes do not fit before
        (work(), person("kemal", stop("09:08", "10:00", FAR)), "08:00 +8 min"),
        (work(), person("kemal", stop("08:00", "09:00", FAR), stop("11:00", "12:00", FAR)), "09:10 +16 min"),
        (work(), person("kemal", stop("08:00", "09:30", house("quince"))), "09:30"),
        (work(), person("kemal", stop("08:00", "09:00", HOUSE_NOT_ON_MAP)), "09:20 +20 min, travel not known"),
        (work(at=HOUSE_NOT_ON_MAP), person(), "08:00"),
        (work(windows=((600, 720),)), person(), "10:00"),
        (work(windows=((480, 510), (600, 720))), person(), "10:00"),
        (work(skills=frozenset({"fire_side"})), person(), "not qualified: fire side"),
        (work(), person(skills=()), "not qualified: technician"),
        (work(), person(skills=(HeldSkill("technician", local("10:02")),)), "10:05"),
        (work(skills=frozenset({"technician", "gas_train"})), person(), "not qualified: gas train"),
        (work(600), person(), "longer than the day"),
        (work(windows=()), person(), "no access that day"),
        (work(windows=((480, 530),)), person(), "access ends 08:50"),
        (work(windows=((960, 1200),)), person(), "access begins 16:00"),
        (work(windows=MORNING), person("kemal", stop("08:00", "10:10")), "access ends 11:00"),
        (work(), person("kemal", stop("08:00", "16:30")), "no room left"),
        (work(), person(away=((LONG_AGO, None),)), "off"),
        (work(), person(away=((local("08:30"), None),)), "off from 08:30"),
        (work(), person(away=((LONG_AGO, local("16:00")),)), "off until 16:00"),
        (work(), person(away=((LONG_AGO, local("12:00")),)), "12:00"),
        (work(), person(away=((local("12:00"), None),)), "08:00"),
        (work(people=2), person(), "nobody to go along"),
        (work(), person(buildings=frozenset()), "no role in this building"),
    ],
)
def test_a_cell_says_from_when_and_at_what_cost_or_why_not(asked: DayWork, who: DayPerson, words: str) -> None:
    assert say_cell(asked, who) == words


@pytest.mark.parametrize(
    ("asked_at", "words"),
    [
        (local("07:45"), "08:00"),
        (local("07:46"), "08:05"),
        (local("15:15"), "15:30"),
        (local("15:15") + timedelta(seconds=1), "too late today"),
        (local("23:00"), "too late today"),
    ],
)
def test_nothing_is_offered_that_begins_within_a_quarter_of_an_hour(asked_at: datetime, words: str) -> None:
    assert say_cell(work(), person(), at=asked_at) == words


def test_planned_work_may_be_planned_anew_as_if_it_were_not_planned() -> None:
    held = PlannedStop(make_id("work"), local("08:00"), local("09:00"), house("quince"))
    assert say_cell(work(), person("kemal", held)) == "08:00"


def test_two_people_go_at_the_earliest_time_that_suits_both() -> None:
    kemal, rui = person("kemal", stop("08:00", "09:00", FAR)), person("rui", stop("08:00", "10:30", house("quince")))
    assert say_cell(work(people=2), kemal, rui) == "10:30 with Rui +8 min"


def test_of_two_who_could_go_along_the_one_who_is_free_sooner_goes() -> None:
    rui, lena = person("rui", stop("08:00", "10:00", FAR)), person("lena", stop("08:00", "09:00", house("quince")))
    assert say_cell(work(people=2), person(), rui, lena) == "09:00 with Lena"


def test_who_is_away_goes_along_with_nobody() -> None:
    lena = person("lena", away=((LONG_AGO, None),))
    assert say_cell(work(people=2), person(), lena) == "nobody to go along"


def test_a_lapsed_license_is_none_from_its_last_instant() -> None:
    until = local("08:00")
    for moment, words in ((until, "not qualified: technician"), (until + timedelta(microseconds=1), "08:00")):
        assert say_cell(work(), person(skills=(HeldSkill("technician", LONG_AGO, moment),))) == words


SPRING, FALL = date(2026, 3, 8), date(2026, 11, 1)  # New York: 02:00 becomes 03:00; 02:00 becomes 01:00


@pytest.mark.parametrize(
    ("day", "shift", "minutes", "words"),
    [
        (SPRING, (60, 240), 120, "01:00"),  # 01:00 to 04:00 are two hours
        (SPRING, (60, 240), 121, "longer than the day"),
        (FALL, (60, 180), 180, "01:00"),  # 01:00 to 03:00 are three hours
        (FALL, (60, 180), 181, "longer than the day"),
        (SPRING, (480, 990), 510, "08:00"),
        (FALL, (480, 990), 510, "08:00"),
        (FALL, (480, 990), 511, "longer than the day"),
    ],
)
def test_on_days_of_a_clock_change_the_hours_are_those_that_pass(
    day: date, shift: tuple[int, int], minutes: int, words: str
) -> None:
    before = datetime(2026, 1, 1, tzinfo=LONG_AGO.tzinfo)
    assert say_cell(work(minutes), person(shift=shift), day=day, at=before) == words


def test_the_day_is_that_of_the_house() -> None:
    cell = read_cell(work(zone="Pacific/Auckland"), person(), at=LONG_AGO)
    assert cell.start == local("08:00", zone="Pacific/Auckland")


minutes_of_day = st.integers(8 * 12, 16 * 12).map(lambda five: five * 5)
HOUSES = (house("quince"), FAR, HOUSE_NOT_ON_MAP, None)


@st.composite
def planned_stops(draw: Any) -> list[PlannedStop]:
    begins = draw(st.lists(minutes_of_day, max_size=4, unique=True))
    first = local("00:00")
    return [
        PlannedStop(
            make_id(f"stop {begin}"),
            first + timedelta(minutes=begin),
            first + timedelta(minutes=begin + draw(st.integers(5, 90))),
            draw(st.sampled_from(HOUSES)),
        )
        for begin in begins
    ]


WINDOWS = {"": None, "mon-sun 09:00-12:00": ((540, 720),), "mon-sun 08:00-10:00,13:00-15:30": ((480, 600), (780, 930))}


@given(planned_stops(), st.sampled_from(sorted(WINDOWS)), st.integers(10, 180), st.integers(0, 700))
def test_what_is_offered_fits_and_nothing_sooner_does(
    stops: list[PlannedStop], hours: str, minutes: int, late: int
) -> None:
    at = local("07:00") + timedelta(minutes=late)
    asked = work(minutes, windows=WINDOWS[hours])
    cell = read_cell(asked, person("kemal", *stops), at=at)
    instants = [local("08:00") + STEP * n for n in range(12 * 9)]
    possible = [t for t in instants if _fits(asked, t, stops, hours, at)]
    assert cell.start == min(possible, default=None)
    assert cell.is_free == bool(possible)
    assert cell.is_free or cell.why in ("too_late", "full", "access_ends", "access_begins", "too_long")


def _fits(asked: DayWork, start: datetime, stops: list[PlannedStop], hours: str, at: datetime) -> bool:
    """A naive second opinion: by the clock, by the check that a plan meets when it is sent, and stop by stop."""
    end = start + timedelta(minutes=asked.minutes)
    if start < at + LEAD or end > local("16:30") or not is_accessible(hours, ZONE, start, end):
        return False
    return all(_keeps_apart(asked, start, end, one, stops) for one in stops)


def _keeps_apart(asked: DayWork, start: datetime, end: datetime, one: PlannedStop, stops: list[PlannedStop]) -> bool:
    """The stop that ends last before the work, and the one that begins first after it, leave time for the way."""
    if one.until > start and one.since < end:
        return False
    in_order = sorted(stops, key=lambda s: s.since)
    before = max((s for s in in_order if s.until <= start), key=lambda s: s.until, default=None)
    after = min((s for s in stops if s.since >= end), key=lambda s: (s.since, s.until), default=None)
    way = timedelta(minutes=_minutes(asked, one))
    if one is before and start - one.until < way:
        return False
    return not (one is after and one.since - end < way)


def _minutes(asked: DayWork, one: PlannedStop) -> int:
    known = {house("quince").building: 0, FAR.building: 8}
    return known.get(one.place.building, 20) if one.place else 20


def test_a_job_of_a_whole_portfolio_is_offered_to_everybody_in_their_order() -> None:
    people = [person("kemal"), person("lena", skills=()), person("rui")]
    cells = fill_cells(work(), people, day=DAY, at=EVENING_BEFORE)
    assert [c.person for c in cells] == [p.id for p in people]
    assert [c.is_free for c in cells] == [True, False, True]
    assert TECHNICIAN in people[0].skills
