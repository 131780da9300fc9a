"""What each kind of visit asks of a boiler that has one of every device, with nothing due and nothing open."""

from collections.abc import Mapping
from uuid import UUID, uuid5

import pytest

from fleet.jobs.asks import WorkFacts
from fleet.jobs.visit_kind_asks import visit_kind_asks
from tests.cast import NOW
from tests.portfolio.sheets import CATALOGUE

PLACES: Mapping[UUID, str] = {uuid5(UUID(int=0), kind): kind for kind in CATALOGUE.kinds}
FACTS = WorkFacts(
    CATALOGUE, {}, kinds=PLACES, paths={}, passed={}, names={}, states=[], open=[], at=NOW, zone="America/New_York"
)


def asked(kind: str) -> set[tuple[str, str, str]]:
    return {(PLACES[a.position], a.procedure, a.phase) for a in visit_kind_asks(FACTS, kind) if a.position}


def test_a_routine_check_has_four_things() -> None:
    assert asked("routine_check") == {
        ("float_cutoff", "flush", "as_found"),
        ("gauge_glass", "level_observation", "as_found"),
        ("gauge", "pressure_observation", "as_found"),
        ("makeup_meter", "meter_reading", "as_found"),
    }


@pytest.mark.parametrize("kind", ["annual_service", "season_start"])
@pytest.mark.parametrize(
    ("device", "procedure", "phase"),
    [
        ("float_cutoff", "slow_drain", "as_found"),
        ("probe_cutoff", "slow_drain", "as_found"),
        ("float_cutoff", "flush", "as_found"),
        ("gauge_glass", "gauge_glass_blowdown", "as_found"),
        ("operating_control", "operating_control_trip", "as_found"),
        ("operating_control", "three_cycles", "as_left"),
        ("limit_control", "limit_trip", "as_found"),
        ("safety_valve", "lever_lift", "as_found"),
        ("flame_safeguard", "flame_failure_test", "as_found"),
        ("fuel_valve", "fuel_valve_closure", "as_found"),
        ("spill_switch", "spill_switch_trip", "as_found"),
        ("air_proving_switch", "air_proving_trip", "as_found"),
        ("siphon", "siphon_check", "as_found"),
        ("float_chamber", "chamber_open_inspect", "as_found"),
        ("burner", "combustion_test", "as_found"),
        ("burner", "normal_restart", "as_left"),
    ],
)
def test_a_service_has_every_proof_that_its_answer_asks_for(kind: str, device: str, procedure: str, phase: str) -> None:
    assert (device, procedure, phase) in asked(kind)


def test_only_a_season_start_has_the_check_of_a_restart_after_the_summer() -> None:
    only_there = asked("season_start") ^ asked("annual_service")
    assert only_there == {("boiler_body", "season_restart_check", "as_left")}


def test_a_service_leaves_to_shop_and_inspector_what_is_theirs() -> None:
    codes = {code for _, code, _ in asked("annual_service")}
    assert not codes & {"valve_shop_test", "internal_inspection", "external_inspection"}


@pytest.mark.parametrize("kind", ["", "follow_up", "no_heat", "season_shutdown", "restart", "inspection"])
def test_other_kinds_ask_nothing_of_their_own(kind: str) -> None:
    assert asked(kind) == set()
