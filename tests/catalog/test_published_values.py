"""Intervals, limits and constants held against what published documents say: each with its document and its words.

The words are short extracts or what a list has in its row. A document is cited by its number in sources.csv.
"""

import pytest

from fleet.engineering import burner_grades, ladder, relief, trips
from fleet.engineering.air import openings_needed, room_volume_ft3
from fleet.engineering.burner_grades import air_free_ppm
from fleet.engineering.fuels import FUELS
from fleet.rules.catalogue import Catalogue
from tests.catalog.test_sources import CATALOGUE

# procedure, interval, document, what it says
INTERVALS = [
    ("flush", "1 w", "S23", "weekly, and at start-up"),
    ("chamber_open_inspect", "12 mo", "S21", "open and inspect the low-water cutoff, yearly group"),
    ("evaporation", "12 mo", "S21", "evaporation test, yearly group"),
    ("feed_pump_check", "1 w", "S21", "condensate and feed pumps operated, weekly group"),
    ("receiver_inspect", "12 mo", "S21", "condensate receiver cleaned, yearly group"),
    ("level_observation", "1 d", "S21", "observe water level, daily group"),
    ("pressure_observation", "1 d", "S21", "observe operating pressure, daily group"),
    ("leak_check", "12 mo", "S21", "internal and external inspection after cleaning, yearly group"),
    ("combustion_air_check", "1 mo", "S21", "combustion air supply, monthly group"),
    ("pump_alternation_check", "1 w", "S21", "condensate and vacuum pumps, weekly group"),
    ("pop_test", "12 mo", "S22", "pressure test of the valve, yearly"),
    ("pop_test", "12 mo", "S25", "set pressure verified annually"),
    ("gauge_comparison", "12 mo", "S22", "gauges calibrated annually, date and initials on the face"),
    ("draft_reading", "12 mo", "S22", "draft in the annual combustion test"),
    ("combustion_test", "12 mo", "S22", "CO, CO2, O2, stack and room temperature, annually"),
    ("combustion_test", "12 mo", "S21", "combustion and draft test, yearly group"),
    ("soap_test", "12 mo", "S22", "gas piping soap test, annually"),
    ("wiring_inspection", "12 mo", "S22", "control wiring, contacts and covers, annually"),
    ("flame_signal", "1 w", "D1", "flame signal strength, weekly"),
    ("igniter_check", "1 w", "D1", "igniter, weekly"),
    ("pilot_turndown", "12 mo", "D1", "pilot turndown, annually"),
    ("fuel_valve_leak_test", "12 mo", "D1", "leak test of the fuel valves, annually"),
    ("firing_rate_linkage_check", "12 mo", "D1", "firing-rate control with the combustion test, annually"),
    ("external_inspection", "24 mo", "S52", "external inspection every two years"),
    ("waterside_cleaning", "12 mo", "S21", "inspection after cleaning, yearly group"),
    ("fireside_cleaning", "12 mo", "S21", "inspection after cleaning, yearly group"),
    ("probe_clean_inspect", "12 mo", "S20", "any control with no stated interval: at least annually"),
    ("gauge_glass_inspect", "12 mo", "S20", "the same"),
    ("feeder_check", "12 mo", "S20", "the same"),
    ("operating_control_trip", "12 mo", "S20", "the same"),
    ("limit_trip", "12 mo", "S20", "the same"),
    ("flame_failure_test", "12 mo", "S20", "the same"),
    ("fuel_valve_closure", "12 mo", "S20", "the same"),
    ("limit_circuit_trip", "12 mo", "S20", "the same"),
    ("air_proving_trip", "12 mo", "S20", "the same"),
    ("louvre_interlock_trip", "12 mo", "S20", "the same"),
    ("spill_switch_trip", "12 mo", "S20", "the same"),
    ("rollout_switch_trip", "12 mo", "S20", "the same"),
    ("emergency_switch_test", "12 mo", "S20", "the same"),
    ("manual_cock_check", "12 mo", "S20", "the same"),
    ("proof_of_closure_check", "12 mo", "S20", "the same"),
    ("steam_valves_check", "12 mo", "S20", "the same"),
]
# procedure and variant, interval, document, what it says
VARIANTS = [
    ("lever_lift weekly", "1 w", "S22", "manual lift weekly, as the National Board is quoted"),
    ("lever_lift monthly", "1 mo", "S25", "try lever monthly"),
    ("lever_lift quarterly", "3 mo", "S51", "quarterly by hand"),
    ("flush daily", "1 d", "S21", "low-water cutoff, daily group"),
    ("flush daily", "1 d", "S27", "daily log of the cutoff"),
    ("slow_drain semi_annual", "6 mo", "D1", "slow drain, semi-annually"),
    ("operating_control_trip monthly", "1 mo", "S21", "operating control, monthly group"),
    ("limit_trip monthly", "1 mo", "S21", "high limit, monthly group"),
    ("flame_failure_test weekly", "1 w", "D1", "flame failure detection, weekly"),
    ("flame_failure_test monthly", "1 mo", "S21", "flame failure detection, monthly group"),
    ("fuel_valve_closure weekly", "1 w", "D1", "closure of the fuel valves by an open limit, weekly"),
    ("air_proving_trip monthly", "1 mo", "D1", "air-proving switch, monthly"),
    ("gauge_glass_blowdown daily", "1 d", "S21", "gauge glass, daily group"),
    ("vent_inspection monthly", "1 mo", "D1", "flue and damper, monthly"),
]
# procedure and reading, the words of its limit, document, what it says
LIMITS = [
    ("three_cycles cycles", "at least 3", "S29", "watch at least three cycles"),
    ("season_restart_check cycles", "at least 3 cycles watched", "S29", "the same"),
    ("accumulation_test highest_psi", "at most 20: 5 psi over 15", "S2", "may not rise more than 5 psi above 15"),
    ("gauge_comparison difference_psi", "1 psi: the division of the dial", "S5", "divisions of one pound"),
    ("draft_reading over_fire_in_wc", "about 0.02 of suction", "S22", "over-fire draft about 0.02 in w.g."),
    ("combustion_test co_ppm", "from 400 unsafe", "S33", "400 ppm air-free for vented heating"),
    ("combustion_test ambient_co_ppm", "at most 35", "S34", "above 35 ppm stop, ventilate, leave"),
]
# what, value, published, document
CONSTANTS = [
    ("highest pressure of a low-pressure steam boiler, psi", ladder.MAX_STEAM_PSI, 15.0, "S53"),
    ("gap under a valve's set pressure, psi", ladder.CONTROL_UNDER_VALVE_PSI, 5.0, "S51"),
    ("bottom of the glass that a cutoff must trip above, in", trips.GLASS_BOTTOM_IN, 0.0, "S8"),
    ("Btu/h of output for a lb/h of capacity", relief.BTU_H_PER_LB_H, 1000.0, "S2"),
    ("constant of the nozzle formula", relief.NOZZLE_LB_H, 51.5, "S16"),
    ("largest coefficient, 0.9 x 0.975", relief.MAX_COEFFICIENT, 0.878, "S15"),
    ("largest valve, in", relief.BORE_IN.high, 4.5, "S7"),
    ("hand-fired, firetube, lb/h ft2", relief.SURFACE_LB_H_FT2["hand", "firetube"], 5.0, "S7"),
    ("hand-fired, watertube, lb/h ft2", relief.SURFACE_LB_H_FT2["hand", "watertube"], 6.0, "S7"),
    ("stoker, firetube, lb/h ft2", relief.SURFACE_LB_H_FT2["stoker", "firetube"], 7.0, "S7"),
    ("stoker, watertube, lb/h ft2", relief.SURFACE_LB_H_FT2["stoker", "watertube"], 8.0, "S7"),
    ("oil or gas, firetube, lb/h ft2", relief.SURFACE_LB_H_FT2["oil_gas", "firetube"], 8.0, "S4"),
    ("oil or gas, watertube, lb/h ft2", relief.SURFACE_LB_H_FT2["oil_gas", "watertube"], 10.0, "S4"),
    ("carbon monoxide air-free that is unsafe, ppm", burner_grades.CO_HOLD_PPM, 400.0, "S33"),
    ("carbon monoxide in the room, ppm", burner_grades.CO_ROOM_PPM, 35.0, "S34"),
    ("natural gas, Btu/ft3", FUELS["natural_gas"].gross, 1026.0, "S35"),
    ("No. 2 oil, Btu/gal: 5.825 MMBtu a barrel of 42 gal", FUELS["oil_2"].gross, 5_825_000 / 42, "S35"),
    ("a room that is enough, ft3 for 1000 Btu/h", room_volume_ft3(1000.0), 50.0, "S45"),
    ("one of two openings to outdoors, in2 for 4000 Btu/h", openings_needed("two_direct", 4000.0).each_in2, 1.0, "S44"),
    ("one of two by vertical ducts, in2 for 4000 Btu/h", openings_needed("two_vertical", 4000.0).each_in2, 1.0, "S44"),
    ("one of two by level ducts, in2 for 2000 Btu/h", openings_needed("two_horizontal", 2000.0).each_in2, 1.0, "S44"),
    ("one of two to indoors, in2 for 1 MMBtu/h", openings_needed("two_indoor", 1e6).each_in2, 1000.0, "S44"),
    ("one of two to indoors at least, in2", openings_needed("two_indoor", 50_000.0).each_in2, 100.0, "S44"),
    ("50 ppm at 7 % oxygen, air-free", air_free_ppm(50.0, 7.0), 75.0, "S33"),
]


def spec_of(catalogue: Catalogue, code: str) -> tuple[str, str]:
    """The interval of a procedure or variant, and what it cites."""
    procedure, _, variant = code.partition(" ")
    if variant:
        found = catalogue.variants[procedure, variant]
        return str(found.interval), found.source
    return str(catalogue.procedures[procedure].interval), catalogue.procedures[procedure].interval_source


@pytest.mark.parametrize(("code", "interval", "document", "words"), [*INTERVALS, *VARIANTS])
def test_an_interval_is_the_one_that_its_document_has(code: str, interval: str, document: str, words: str) -> None:
    found, source = spec_of(CATALOGUE, code)
    assert found == interval, words
    assert document in source, words
    assert document in CATALOGUE.sources


@pytest.mark.parametrize(("code", "limit", "document", "words"), LIMITS)
def test_a_limit_is_the_one_that_its_document_has(code: str, limit: str, document: str, words: str) -> None:
    procedure, _, name = code.partition(" ")
    reading = CATALOGUE.procedures[procedure].readings[name]
    assert limit in reading.accept, words
    assert document in reading.source, words
    assert document in CATALOGUE.sources


@pytest.mark.parametrize(("what", "value", "published", "document"), CONSTANTS)
def test_a_constant_is_the_published_one(what: str, value: float, published: float, document: str) -> None:
    assert value == pytest.approx(published, rel=3e-3, abs=1e-9), what
    assert document in CATALOGUE.sources


def test_so_many_values_are_held_against_documents() -> None:
    assert len(INTERVALS) + len(VARIANTS) + len(LIMITS) + len(CONSTANTS) >= 80
