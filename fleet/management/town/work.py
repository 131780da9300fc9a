"""Procedures at a boiler in working order, and the readings that a sound device gives."""

from collections.abc import Callable, Iterator, Mapping

from fleet.management.town.chance import Chance
from fleet.management.town.story_values import TownBoiler, TownPlace, Value

Readings = dict[str, Value]
SoundReadings = Callable[[Chance, TownPlace], Readings]

UPPER_TRIP_IN, LOWER_TRIP_IN = 2.6, 1.6  # heights at which the cutoffs trip, above the bottom of the glass


def _fixed_readings(**readings: Value) -> SoundReadings:
    return lambda chance, place: dict(readings)


def _number_of(place: TownPlace, name: str) -> float:
    return float(place.values.get(name) or 0.0)


def _slow_drain(chance: Chance, place: TownPlace) -> Readings:
    readings: Readings = {"burner_firing": True, "burner_stopped": True}
    if place.role == "lower_cutoff":
        return {**readings, "trip_in": chance.reading_near(LOWER_TRIP_IN, 0.1), "locked_out": True}
    return {**readings, "trip_in": chance.reading_near(UPPER_TRIP_IN, 0.1)}


def _limit_trip(chance: Chance, place: TownPlace) -> Readings:
    set_psi = _number_of(place, "set_psi")
    trip = chance.reading_near(set_psi, 0.4)
    watched: Readings = {"stayed_off_minutes": 4.0, "call_on": True, "restarted_by_hand": True}
    return {"trip_psi": trip, **watched, "psi_when_checked": round(trip / 3, 1), "set_psi_read_back": set_psi}


def _combustion_test(chance: Chance, place: TownPlace) -> Readings:
    flue: Readings = {
        "o2_pct": chance.reading_near(6.5, 1.2),
        "co_ppm": float(chance.whole_number(8, 40)),
        "co_trend": "steady",
    }
    air = {
        "stack_f": float(chance.whole_number(380, 440)),
        "room_f": float(chance.whole_number(64, 82)),
        "ambient_co_ppm": 1.0,
    }
    return {"burner_firing": True, **flue, **air}


def _flush_test(chance: Chance, place: TownPlace) -> Readings:
    sediment = chance.one_of(("clear", "clear", "dirty"))
    return {"burner_firing": True, "water": "runs", "burner_stopped": True, "recovery": "prompt", "sediment": sediment}


_STOPS = {"burner_firing": True, "burner_stopped": True}

SOUND_READINGS: Mapping[str, SoundReadings] = {
    "flush": _flush_test,
    "slow_drain": _slow_drain,
    "limit_trip": _limit_trip,
    "combustion_test": _combustion_test,
    "operating_control_trip": lambda c, p: {
        "trip_psi": c.reading_near(_number_of(p, "cut_out_psi"), 0.2),
        "cycles": 3.0,
    },
    "three_cycles": _fixed_readings(cycles=3.0, cut_out_seen=True, cut_in_seen=True),
    "chamber_open_inspect": _fixed_readings(found_clean=True),
    "probe_clean_inspect": _fixed_readings(found="clean", tip_sound=True, insulator_sound=True),
    "gauge_glass_blowdown": _fixed_readings(water_returns="prompt", both_cocks_clear=True, glass_in=4.0),
    "gauge_glass_inspect": _fixed_readings(readable=True, cocks_turn_and_open=True, water_returns="prompt", tight=True),
    "try_cock_check": _fixed_readings(agrees_with_glass=True),
    "feeder_check": _fixed_readings(feeds_when_low=True, stops_at_line=True, tight_when_off=True, strainer_clean=True),
    "backflow_check": _fixed_readings(holds=True, drips=False),
    "receiver_inspect": _fixed_readings(sound=True, float_moves=True, overflow_clear=True),
    "leak_check": _fixed_readings(tight=True, furnace_dry=True),
    "internal_inspection": _fixed_readings(sound=True, cracks_found=False, furnace_dry=True),
    "lever_lift": lambda c, p: {"gauge_psi": c.reading_near(6.0, 0.5), "lifted": True, "discharged": True,
                                "after_lift": "tight"},
    "pop_test": lambda c, p: {"opens_psi": c.reading_near(15.0, 0.6), "opened_sharply": True, "after_pop": "tight",
                              "seal_intact": True},
    "valve_shop_test": lambda c, p: {"opens_psi": 15.0, "tight": True, "sealed": True},
    "discharge_pipe_check": _fixed_readings(open_end_clear=True, safe_place=True, nothing_can_shut_it=True),
    "gauge_comparison": lambda c, p: {"test_gauge_psi": 2.0, "difference_psi": abs(c.reading_near(0.2, 0.2)),
                                      "at_zero_open": True},
    "pressure_observation": _fixed_readings(gauge_psi=1.0),
    "siphon_check": _fixed_readings(passes_water=True),
    "flame_failure_test": lambda c, p: {"burner_firing": True, "fuel_shut": True, "locked_out": True,
                                        "seconds_to_shut": c.reading_near(2.4, 0.8)},
    "fuel_valve_closure": _fixed_readings(burner_firing=True, closed=True, flame_out=True),
    "fuel_valve_leak_test": _fixed_readings(within_makers_limit=True),
    "limit_circuit_trip": _fixed_readings(**_STOPS, switch_opened=True, fuel_shut=True),
    "gas_pressure_low_trip": _fixed_readings(**_STOPS, setting_read_back=True),
    "gas_pressure_high_trip": _fixed_readings(**_STOPS, setting_read_back=True),
    "oil_pressure_low_trip": _fixed_readings(**_STOPS, setting_read_back=True),
    "low_draft_trip": _fixed_readings(**_STOPS, setting_read_back=True, draft_back=True),
    "air_proving_trip": _fixed_readings(**_STOPS),
    "spill_switch_trip": _fixed_readings(**_STOPS, stayed_out_until_reset=True),
    "rollout_switch_trip": _fixed_readings(**_STOPS, stayed_out_until_reset=True),
    "draft_reading": _fixed_readings(burner_firing=True, draws=True, over_fire_in_wc=-0.02,
                                     spills_after_five_minutes=False),
    "clock_input": lambda c, p: {"input_btu_h": round(_number_of(p, "input_btu_h") * c.reading_near(1.0, 0.04, 3), 0)},
    "combustion_air_check": _fixed_readings(open=True),
    "vent_inspection": _fixed_readings(connected=True, clear=True, sound=True, spills_after_five_minutes=False),
    "soap_test": _fixed_readings(bubbles=False, smell=False),
    "co_alarm_test": _fixed_readings(sounds=True, in_date=True),
    "emergency_switch_test": _fixed_readings(**_STOPS, marked_and_reachable=True),
    "manual_cock_check": _fixed_readings(turns=True, shuts_fuel=True),
    "steaming_check": _fixed_readings(burner_firing=True, steam_made=True, line_surges=False, water_carried_over=False,
                                      hammer=False, heat_arrives=True),
    "boiler_room_check": _fixed_readings(lit=True, way_out_clear=True, nothing_burnable_near=True,
                                         instructions_posted=True, certificate_posted=True, water_on_floor=False),
    "normal_restart": _fixed_readings(lit_by_its_controls=True, lit_smoothly=True, puff_flame_soot_or_smell=False,
                                      stopped_by_its_control=True),
}  # fmt: skip

# As found, in working order. Cold work and proofs of what it touches follow (`COLD_WORK`, `PROOFS_AFTER_COLD_WORK`).
AS_FOUND = (
    ("air", "combustion_air_check"), ("vent", "vent_inspection"), ("alarm", "co_alarm_test"),
    ("glass", "gauge_glass_blowdown"), ("try-cocks", "try_cock_check"), ("gauge", "gauge_comparison"),
    ("upper", "flush"), ("siphon-1", "siphon_check"), ("siphon-2", "siphon_check"),
    ("control", "operating_control_trip"), ("control", "three_cycles"), ("limit", "limit_trip"),
    ("circuit", "limit_circuit_trip"), ("flame", "flame_failure_test"), ("fuel", "fuel_valve_closure"),
    ("fuel", "fuel_valve_leak_test"), ("gas-low", "gas_pressure_low_trip"), ("gas-high", "gas_pressure_high_trip"),
    ("oil-low", "oil_pressure_low_trip"), ("low-draft", "low_draft_trip"), ("air-switch", "air_proving_trip"),
    ("spill", "spill_switch_trip"), ("rollout", "rollout_switch_trip"), ("switch", "emergency_switch_test"),
    ("draft", "draft_reading"), ("burner", "combustion_test"), ("burner", "clock_input"), ("burner", "soap_test"),
    ("lower", "slow_drain"), ("valve", "discharge_pipe_check"), ("valve", "lever_lift"), ("valve", "pop_test"),
    ("valve-2", "lever_lift"), ("valve-2", "pop_test"), ("cock", "manual_cock_check"), ("cock", "soap_test"),
    ("feeder", "feeder_check"), ("backflow", "backflow_check"), ("receiver", "receiver_inspect"),
    ("body", "leak_check"),
)  # fmt: skip
COLD_WORK = (("glass", "gauge_glass_inspect"), ("chamber", "chamber_open_inspect"), ("lower", "probe_clean_inspect"))
PROOFS_AFTER_COLD_WORK = (
    ("glass", "gauge_glass_blowdown"),
    ("lower", "slow_drain"),
    ("upper", "slow_drain"),
    ("upper", "flush"),
)
RESTART = (("burner", "normal_restart"),)

LEFT_WELL: Mapping[str, object] = {
    "jumpers_off": True, "set_points_read": True, "feed_open": True, "drains_shut": True, "glass_cocks_open": True,
    "resets_in": True, "water_at_line": True, "tags_accounted": True,
}  # fmt: skip

_ONLY_FLOAT, _ONLY_PROBE = {"flush", "chamber_open_inspect"}, {"probe_clean_inspect"}


def is_possible(boiler: TownBoiler, place: str, code: str) -> bool:
    """Return whether the procedure is possible: the place is filled, and by a device the procedure is for."""
    if not boiler.filled_refs(place):
        return False
    kind = boiler.places[place].kind
    if code == "flush":
        return kind == "float_cutoff"
    return not (code in _ONLY_PROBE and kind != "probe_cutoff")


def possible_rows(boiler: TownBoiler, rows: tuple[tuple[str, str], ...]) -> Iterator[tuple[str, str]]:
    """Yield the rows that are possible at this boiler."""
    return ((place, code) for place, code in rows if is_possible(boiler, place, code))
