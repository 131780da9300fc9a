"""What a trip takes: standard times and allowances, people, parts, skills; what is grouped and what is done once."""

from uuid import uuid4

import pytest

from fleet.jobs.work import (
    REPAIR_MINUTES,
    VISIT_MINUTES,
    Trip,
    WorkItem,
    group_trips,
    plan_trip,
    quickest_code,
)
from fleet.rules.values import worst_level
from tests.portfolio.sheets import CATALOGUE

BOILER, UPPER, VALVE = uuid4(), uuid4(), uuid4()
MINUTES = {code: p.minutes for code, p in CATALOGUE.procedures.items()}


def at(place: object, code: str, level: str = "routine", repair: bool = False) -> WorkItem:
    return WorkItem(BOILER, place, uuid4() if repair else None, code, "x.", level)  # type: ignore[arg-type]


def one(*items: WorkItem) -> Trip:
    return plan_trip("technician", items, CATALOGUE)


def test_a_trip_is_its_procedures_and_the_allowance() -> None:
    expected = VISIT_MINUTES + MINUTES["flush"] + MINUTES["lever_lift"]
    assert one(at(UPPER, "flush"), at(VALVE, "lever_lift")).minutes == expected


def test_a_repair_has_its_own_allowance() -> None:
    assert one(at(UPPER, "slow_drain", repair=True)).minutes == VISIT_MINUTES + REPAIR_MINUTES + MINUTES["slow_drain"]


def test_what_another_test_of_the_same_place_covers_is_not_done_twice() -> None:
    assert one(at(UPPER, "flush"), at(UPPER, "slow_drain")).minutes == VISIT_MINUTES + MINUTES["slow_drain"]


def test_the_same_test_at_two_places_is_done_twice() -> None:
    assert one(at(UPPER, "flush"), at(VALVE, "flush")).minutes == VISIT_MINUTES + 2 * MINUTES["flush"]


@pytest.mark.parametrize(("code", "people"), [("flush", 1), ("slow_drain", 2), ("internal_inspection", 2)])
def test_a_second_person_comes_where_one_is_needed(code: str, people: int) -> None:
    assert one(at(UPPER, code)).people == people


def test_what_takes_others_is_another_trip_the_worst_first() -> None:
    found = group_trips([at(VALVE, "valve_shop_test"), at(UPPER, "flush", "hold"), at(UPPER, "slow_drain")], CATALOGUE)
    assert [(t.skill, t.level, len(t.items)) for t in found] == [
        ("technician", "hold", 2),
        ("valve_shop", "routine", 1),
    ]


def test_parts_are_told_once() -> None:
    parts = set(CATALOGUE.procedures["internal_inspection"].parts) | set(CATALOGUE.procedures["siphon_check"].parts)
    found = one(at(UPPER, "internal_inspection"), at(UPPER, "siphon_check"), at(VALVE, "siphon_check"))
    assert found.parts == sorted(parts)
    assert parts


def test_of_what_will_do_alike_the_quickest_is_taken() -> None:
    assert quickest_code(["evaporation", "slow_drain"], CATALOGUE) == "slow_drain"
    assert quickest_code(["valve_shop_test", "accumulation_test"], CATALOGUE) == "accumulation_test"
    assert quickest_code(["never_heard_of"], CATALOGUE) == ""


def test_the_worst_class_is_the_trips() -> None:
    assert worst_level(["routine", "hold", "urgent"]) == "hold"
