"""A building without heat: in season no boiler of it gives any, or a no-heat call went unanswered."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from fleet.rules.answers.heat import building_conditions
from fleet.rules.values import AdoptedTerms, Condition, EntryFact, Level, ServiceMode
from tests.rules.build import Boiler, at, ident, proof, see

HOUSE = ident("the building")
KEEPS_FIRING = proof("upper", "flush", burner_stopped=False)
SUMMER = datetime(2026, 5, 16, 4, tzinfo=at().tzinfo)  # the first instant after the cast's heating season


def left(
    boiler: Boiler, days: float, left_as: str, *entries: EntryFact, kind: str = "follow_up", found: str = "unknown"
) -> Boiler:
    """A visit that says how it found and left the boiler."""
    boiler.visit(days, *(entries or (see("chamber", "leaking"),)), kind=kind)
    boiler.visits[-1] = replace(boiler.visits[-1], left_as=left_as, state_on_arrival=found)
    return boiler


def without_heat(*boilers: Boiler) -> list[Condition]:
    return list(building_conditions(HOUSE, "12 Larkspur Row", [b.judged().heat for b in boilers]))


def spans(found: Sequence[Condition]) -> list[tuple[datetime, datetime | None]]:
    return [(c.since, c.until) for c in found]


def test_a_hold_on_the_only_boiler_leaves_the_building_without_heat_from_the_hold_on() -> None:
    found = without_heat(Boiler().service().visit(1, KEEPS_FIRING))[0]
    assert found.condition == "building_without_heat"
    assert found.subject == HOUSE
    assert found.since == at(1)
    assert found.level == Level.HOLD


def test_the_end_of_the_hold_ends_it() -> None:
    boiler = Boiler().service().visit(1, KEEPS_FIRING)
    boiler.visit(2, see("upper", "cause_found"), *[proof("upper", "slow_drain")] * 3)
    assert spans(without_heat(boiler)) == [(at(1), at(2) + timedelta(minutes=3))]


@pytest.mark.parametrize(
    ("found", "left_as", "cold"),
    [
        ("locked_out", "", True),
        ("off", "", True),
        ("no_power", "", True),
        ("firing", "", False),
        ("standing_by", "", False),
        ("unknown", "", False),
        ("locked_out", "on_call", False),
        ("firing", "off_locked", True),
        ("firing", "off_ready", True),
        ("locked_out", "attended", True),
    ],
)
def test_the_newest_word_decides_whether_it_gives_heat(found: str, left_as: str, cold: bool) -> None:
    boiler = left(Boiler().service(), 5, left_as, found=found)
    assert [c.since for c in without_heat(boiler)][:1] == ([at(5)] if cold else [])


def test_as_long_as_one_boiler_gives_heat_nobody_is_cold() -> None:
    assert without_heat(Boiler().service().visit(1, KEEPS_FIRING), Boiler().service()) == []


def test_it_begins_with_the_last_boiler_that_went_cold() -> None:
    one, two = Boiler().service().visit(1, KEEPS_FIRING), left(Boiler().service(), 3, "off_locked")
    assert spans(without_heat(one, two))[0] == (at(3), SUMMER)


@pytest.mark.parametrize(
    "state", [ServiceMode.LAID_UP_DRY, ServiceMode.LAID_UP_WET, ServiceMode.RETIRED, ServiceMode.NOT_COMMISSIONED]
)
def test_a_boiler_out_of_service_is_not_counted_on(state: ServiceMode) -> None:
    away = Boiler().service().goes(0.5, state)
    assert spans(without_heat(Boiler().service().visit(1, KEEPS_FIRING), away))[0] == (at(1), SUMMER)
    assert without_heat(away) == []


def test_a_boiler_isolated_in_the_season_is_still_counted_on() -> None:
    assert without_heat(left(Boiler().service(), 1, "off_locked").goes(1.5, ServiceMode.ISOLATED)) != []


def test_a_boiler_that_makes_only_hot_water_heats_nobody() -> None:
    other = Boiler().service().sets(-20, None, "heats", False)
    assert spans(without_heat(Boiler().service().visit(1, KEEPS_FIRING), other))[0] == (at(1), SUMMER)


def test_out_of_season_nobody_is_cold_and_the_season_begins_it() -> None:
    summer = 240.0  # 12 June 2026; the season of the cast ends on 15 May and begins on 1 October
    boiler = left(Boiler().service(), summer, "off_locked")
    (found, *_) = without_heat(boiler)
    start = datetime(2026, 10, 1, 4, tzinfo=at().tzinfo)
    assert found.since == start


def test_where_heat_never_stops_there_is_no_season() -> None:
    boiler = left(Boiler(terms=(AdoptedTerms(None, None),)).service(), 240.0, "off_locked")
    assert spans(without_heat(boiler)) == [(at(240), None)]


def test_a_no_heat_call_that_left_nothing_firing_holds_until_a_visit_that_does() -> None:
    boiler = left(Boiler().service(), 5, "attended", kind="no_heat", found="standing_by")
    assert spans(without_heat(boiler)) == [(at(5), None)]
    assert spans(without_heat(left(boiler, 6, "on_call"))) == [(at(5), at(6))]


def test_a_call_answered_at_another_boiler_of_the_building_is_answered() -> None:
    one = left(Boiler().service(), 5, "attended", kind="no_heat", found="standing_by")
    two = left(Boiler().service(), 5.5, "firing")
    assert spans(without_heat(one, two)) == [(at(5), at(5.5))]


def test_a_no_heat_call_that_left_it_firing_is_none() -> None:
    assert without_heat(left(Boiler().service(), 5, "firing", kind="no_heat", found="standing_by")) == []
