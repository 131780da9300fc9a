"""The newest word on whether a boiler on hold fires, at one instant and from whose visit."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from fleet.rules import judge
from fleet.rules.values import EntryFact, ServiceChange, ServiceMode, VisitFact
from tests.rules.build import Boiler, act, at, proof, see

MINUTE = timedelta(minutes=1)
FIRING, OFF, LOOKED = see("limit", "found_firing"), see("limit", "found_off"), see("limit", "reset_pressed")
Story = tuple[float, tuple[EntryFact, ...], dict[str, Any]]


def fired(*stories: Story) -> list[tuple[datetime, datetime | None]]:
    """Hold but firing, of a boiler on hold from day 1 on and these visits after."""
    boiler = Boiler().service()
    boiler.visit(1, proof("limit", trip_psi=13.5))
    boiler.visits = [replace(visit, left_as="off_ready") for visit in boiler.visits]
    for day, entries, more in stories:
        boiler.visit(day, *entries)
        boiler.visits[-1] = replace(boiler.visits[-1], **more)
    return [(c.since, c.until) for c in boiler.judged().conditions if c.condition == "hold_but_firing"]


@pytest.mark.parametrize(("psi", "fires"), [(0.0, False), (1.0, False), (1.1, True), (True, False)])
def test_pressure_on_the_gauge_says_that_it_fires_and_none_says_nothing(psi: float, fires: bool) -> None:
    assert fired((3, (proof("valve", gauge_psi=psi),), {})) == ([(at(3), None)] if fires else [])


LAID_UP = (ServiceChange(ServiceMode.LAID_UP_WET, at(2)),)
HEADERS: list[tuple[tuple[tuple[ServiceChange, ...], ...], bool]] = [
    ((), True),
    (((),), False),  # without a word it is in service
    ((LAID_UP,), True),
    ((LAID_UP, ()), False),
]


@pytest.mark.parametrize(("header", "fires"), HEADERS)
def test_pressure_alone_says_nothing_while_another_boiler_of_the_header_is_in_service(
    header: tuple[tuple[ServiceChange, ...], ...], fires: bool
) -> None:
    boiler = Boiler().service().goes(2, ServiceMode.LAID_UP_WET).visit(3, proof("valve", gauge_psi=6.0), who="operator")
    judgement = judge(replace(boiler.evidence(), header_services=header), (), at(4))
    assert any(c.condition == "firing_while_off" for c in judgement.conditions) is fires


def test_what_is_seen_at_the_instant_of_the_arrival_comes_after_how_it_was_found() -> None:
    assert fired((3, (FIRING,), {"state_on_arrival": "off"})) == [(at(3), None)]
    assert fired((3, (OFF,), {"state_on_arrival": "firing"})) == []


def test_how_it_was_left_is_the_last_word_of_its_instant() -> None:
    assert fired((3, (OFF,), {"left_as": "firing"})) == [(at(3), None)]
    assert fired((3, (FIRING,), {"left_as": "off_locked"})) == []


def test_somebody_qualified_who_found_it_off_ends_it_then_and_not_as_he_leaves() -> None:
    assert fired((3, (FIRING,), {}), (4, (OFF, LOOKED, LOOKED), {"left_as": "off_ready"})) == [(at(3), at(4))]


def test_left_attended_by_somebody_qualified_it_is_not_left_firing() -> None:
    assert fired((3, (FIRING,), {}), (4, (LOOKED, LOOKED), {"left_as": "attended"})) == [(at(3), at(4) + MINUTE)]


def test_left_attended_by_a_caretaker_it_goes_on_firing() -> None:
    caretaker = {"left_as": "attended", "qualifications": frozenset({"operator"})}
    assert fired((3, (FIRING,), {}), (4, (LOOKED,), caretaker)) == [(at(3), None)]


@pytest.mark.parametrize("found", ["off", "no_power", "locked_out"])
def test_found_off_it_fires_no_more(found: str) -> None:
    assert fired((3, (FIRING,), {}), (4, (LOOKED,), {"state_on_arrival": found})) == [(at(3), at(4))]


@pytest.mark.parametrize("found", ["unknown", "standing_by"])
def test_what_says_neither_ends_nothing(found: str) -> None:
    assert fired((3, (FIRING,), {}), (4, (LOOKED,), {"state_on_arrival": found})) == [(at(3), None)]


def test_a_neighbours_visit_says_nothing_of_this_burner() -> None:
    assert fired((3, (LOOKED,), {"of_this_boiler": False, "left_as": "firing"})) == []


def test_a_boiler_that_fires_from_the_instant_its_hold_ends_never_fired_on_hold() -> None:
    mended = (4, (act("limit", "repair"), proof("limit")), {})
    assert fired(mended, (4 + 1 / 1440, (FIRING,), {})) == []


def test_it_says_what_the_hold_is() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5)).visit(3, FIRING)
    told = [c.sentence for c in boiler.judged().conditions if c.condition == "hold_but_firing"]
    assert told == [
        "On hold, and by the newest word firing: The high limit tripped only at 13.5 psi. (Thu 16 Oct 2025)"
    ]


def test_a_visit_handed_in_twice_says_it_once() -> None:
    boiler = Boiler().service().visit(1, proof("limit", trip_psi=13.5)).visit(3, FIRING)
    before = boiler.judged().conditions
    twice: VisitFact = boiler.visits[-1]
    boiler.visits.append(twice)
    assert boiler.judged().conditions == before
