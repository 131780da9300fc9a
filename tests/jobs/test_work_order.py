"""The order of work: every procedure of the shipped catalogue has its one place, as found before anything is opened."""

from collections import Counter
from dataclasses import replace
from datetime import date

import pytest

from fleet.calendar import HeatingSeason
from fleet.jobs.asks import near_season
from fleet.planning import work_order
from fleet.planning.work_order import as_found_order, as_left_order
from fleet.rules.values import AdoptedTerms
from tests.portfolio.sheets import CATALOGUE

PROCEDURES = CATALOGUE.procedures
TERMS = AdoptedTerms(since=None, season=HeatingSeason(10, 1, 5, 31))


def test_every_procedure_of_the_catalogue_has_one_place() -> None:
    listed = Counter(code for codes in work_order.CODES_BY_GROUP.values() for code in codes)
    assert listed == Counter(list(PROCEDURES))


def test_the_groups_are_those_of_the_domain_in_their_order() -> None:
    assert [g.number for g in work_order.GROUPS] == list(range(9))
    assert work_order.CODES_BY_GROUP.keys() <= {g.number for g in work_order.GROUPS}


# Section 7 of the domain, last paragraph, by examples.
GROUPS = {
    "combustion_air_check": 0,
    "gauge_glass_blowdown": 1,
    "gauge_zero_check": 1,
    "flush": 2,
    "operating_control_trip": 2,
    "limit_trip": 2,
    "flame_failure_test": 2,
    "combustion_test": 2,
    "slow_drain": 3,
    "evaporation": 3,
    "lever_lift": 4,
    "pop_test": 4,
    "chamber_open_inspect": 5,
    "siphon_check": 5,
    "normal_restart": 6,
    "three_cycles": 7,
}


@pytest.mark.parametrize(("code", "group"), GROUPS.items())
def test_a_procedure_is_where_the_domain_puts_it(code: str, group: int) -> None:
    assert as_found_order(PROCEDURES[code])[0] == group


@pytest.mark.parametrize("code", PROCEDURES)
def test_what_opens_or_locks_off_comes_after_every_test_as_found(code: str) -> None:
    procedure = PROCEDURES[code]
    opens = procedure.voids == "open" or ("lock and tag" in procedure.tools and procedure.side != "season")
    assert (as_found_order(procedure)[0] == work_order.LOCKED_OFF) >= opens
    assert opens or code == "valve_shop_test" or as_found_order(procedure)[0] != work_order.LOCKED_OFF


def test_the_limit_is_tried_after_the_operating_control_and_the_lever_is_last_of_the_hot_tests() -> None:
    hot = sorted((p for p in PROCEDURES.values() if 2 <= as_found_order(p)[0] <= 4), key=as_found_order)
    codes = [p.code for p in hot]
    assert codes.index("flush") < codes.index("operating_control_trip") < codes.index("limit_trip")
    assert codes.index("slow_drain") < codes.index("lever_lift")


def test_after_work_the_tests_keep_their_order() -> None:
    order = sorted(PROCEDURES.values(), key=as_left_order)
    assert [as_left_order(p)[0] for p in order] == [work_order.AS_LEFT] * len(order)
    assert [p.code for p in order] == [p.code for p in sorted(PROCEDURES.values(), key=as_found_order)]


@pytest.mark.parametrize(
    ("voids", "tools", "group"), [("", (), 2), ("open", (), 5), ("adjust", (), 2), ("", ("lock and tag",), 5)]
)
def test_what_a_later_release_adds_goes_by_whether_it_opens_something(
    voids: str, tools: tuple[str, ...], group: int
) -> None:
    new = replace(PROCEDURES["flush"], code="new_test", voids=voids, tools=tools)
    assert as_found_order(new)[0] == group
    assert as_found_order(new) > as_found_order(PROCEDURES["combustion_test" if group == 2 else "siphon_check"])


@pytest.mark.parametrize(
    ("day", "near"),
    [
        (date(2026, 7, 2), ""),
        (date(2026, 7, 3), "start"),
        (date(2026, 9, 30), "start"),
        (date(2026, 10, 1), ""),
        (date(2026, 4, 30), ""),
        (date(2026, 5, 1), "end"),
        (date(2026, 5, 31), "end"),
        (date(2026, 6, 1), ""),
    ],
)
def test_a_season_is_near_from_its_day_to_its_day(day: date, near: str) -> None:
    assert near_season(TERMS, day).near == near


def test_who_heats_all_year_has_no_season() -> None:
    assert near_season(replace(TERMS, season=None), date(2026, 7, 3)).near == ""
