"""Procedures at a boiler in working order, and the readings that a sound device gives."""

from collections.abc import Callable, Iterator, Mapping

from fleet.management.town.chance import Chance
from fleet.management.town.told import Boiler, Place, Value

Readings = dict[str, Value]
Good = Callable[[Chance, Place], Readings]

UPPER_IN, LOWER_IN = 2.6, 1.6  # heights at which the cutoffs trip, above the bottom of the glass


def _fixed(**readings: Value) -> Good:
    return lambda chance, place: dict(readings)


def _number(place: Place, name: str) -> float:
    return float(place.values.get(name) or 0.0)


def _slow_drain(chance: Chance, place: Place) -> Readings:
    found: Readings = {"burner_firing": True, "burner_stopped": True}
    if place.role == "lower_cutoff":
        return {**found, "trip_in": chance.about(LOWER_IN, 0.1), "locked_out": True}
    return {**found, "trip_in": chance.about(UPPER_IN, 0.1)}


def _limit(chance: Chance, place: Place) -> Readings:
    set_psi = _number(place, "set_psi")
    trip = chance.about(set_psi, 0.4)
    watched: Readings = {"stayed_off_minutes": 4.0, "call_on": True, "restarted_by_hand": True}
    return {"trip_psi": trip, **watched, "psi_when_checked": round(trip / 3, 1), "set_psi_read_back": set_psi}


def _combustion(chance: Chance, place: Place) -> Readings:
    flue: Readings = {"o2_pct": chance.about(6.5, 1.2), "co_ppm": float(chance.whole(8, 40)), "co_trend": "steady"}
    air = {"stack_f": float(chance.whole(380, 440)), "room_f": float(chance.whole(64, 82)), "ambient_co_ppm": 1.0}
    return {"burner_firing": True, **flue, **air}


def _flush(chance: Chance, place: Place) -> Readings:
    seen = chance.one_of(("clear", "clear", "dirty"))
    return {"burner_firing": True, "water": "runs", "burner_stopped": True, "recovery": "prompt", "sediment": seen}


_STOPS = {"burner_firing": True, "burner_stopped": True}

GOOD: Mapping[str, Good] = {
    "flush": _flush,
    "slow_drain": _slow_drain,
    "limit_trip": _limit,
    "combustion_test": _combustion,
    "operating_control_trip": lambda c, p: {"trip_psi": c.about(_number(p, "cut_out_psi"), 0.2), "cycles": 3.0},
    "three_cycles": _fixed(cycles=3.0, cut_out_seen=True, cut_in_seen=True),
    "chamber_open_inspect": _fixed(found_clean=True),
    "probe_clean_inspect": _fixed(found="clean", tip_sound=True, insulator_sound=True),
    "gauge_glass_blowdown": _fixed(water_returns="prompt", both_cocks_clear=True, glass_in=4.0),
    "gauge_glass_inspect": _fixed(readable=True, cocks_turn_and_open=True, water_returns="prompt", tight=True),
    "try_cock_check": _fixed(agrees_with_glass=True),
    "feeder_check": _fixed(feeds_when_low=True, stops_at_line=True, tight_when_off=True, strainer_clean=True),
    "backflow_check": _fixed(holds=True, drips=False),
    "receiver_inspect": _fixed(sound=True, float_moves=True, overflow_clear=True),
    "leak_check": _fixed(tight=True, furnace_dry=True),
    "internal_inspection": _fixed(sound=True, cracks_found=False, furnace_dry=True),
    "lever_lift": lambda c, p: {"gauge_psi": c.about(6.0, 0.5), "lifted": True, "discharged": True,
                                "after_lift": "tight"},
    "pop_test": lambda c, p: {"opens_psi": c.about(15.0, 0.6), "opened_sharply": True, "after_pop": "tight",
                              "seal_intact": True},
    "valve_shop_test": lambda c, p: {"opens_psi": 15.0, "tight": True, "sealed": True},
    "discharge_pipe_check": _fixed(open_end_clear=True, safe_place=True, nothing_can_shut_it=True),
    "gauge_comparison": lambda c, p: {"test_gauge_psi": 2.0, "difference_psi": abs(c.about(0.2, 0.2)),
                                      "at_zero_open": True},
    "siphon_check": _fixed(passes_water=True),
    "flame_failure_test": lambda c, p: {"burner_firing": True, "fuel_shut": True, "locked_out": True,
                                        "seconds_to_shut": c.about(2.4, 0.8)},
    "fuel_valve_closure": _fixed(burner_firing=True, closed=True, flame_out=True),
    "fuel_valve_leak_test": _fixed(within_makers_limit=True),
    "limit_circuit_trip": _fixed(**_STOPS, switch_opened=True, fuel_shut=True),
    "gas_pressure_low_trip": _fixed(**_STOPS, setting_read_back=True),
    "air_proving_trip": _fixed(**_STOPS),
    "spill_switch_trip": _fixed(**_STOPS, stayed_out_until_reset=True),
    "rollout_switch_trip": _fixed(**_STOPS, stayed_out_until_reset=True),
    "draft_reading": _fixed(burner_firing=True, draws=True, over_fire_in_wc=-0.02),
    "clock_input": lambda c, p: {"input_btu_h": round(_number(p, "input_btu_h") * c.about(1.0, 0.04, 3), 0)},
    "combustion_air_check": _fixed(open=True),
    "vent_inspection": _fixed(connected=True, clear=True, sound=True),
    "soap_test": _fixed(bubbles=False, smell=False),
    "co_alarm_test": _fixed(sounds=True, in_date=True),
    "emergency_switch_test": _fixed(**_STOPS, marked_and_reachable=True),
    "manual_cock_check": _fixed(turns=True, shuts_fuel=True),
    "normal_restart": _fixed(lit_by_its_controls=True, lit_smoothly=True, stopped_by_its_control=True),
}  # fmt: skip

# As found, in working order. Cold work and proofs of what it touches follow (`COLD_WORK`, `PROOFS_AFTER_COLD_WORK`).
AS_FOUND = (
    ("air", "combustion_air_check"), ("vent", "vent_inspection"), ("alarm", "co_alarm_test"),
    ("glass", "gauge_glass_blowdown"), ("try-cocks", "try_cock_check"), ("gauge", "gauge_comparison"),
    ("upper", "flush"), ("siphon-1", "siphon_check"), ("siphon-2", "siphon_check"),
    ("control", "operating_control_trip"), ("control", "three_cycles"), ("limit", "limit_trip"),
    ("circuit", "limit_circuit_trip"), ("flame", "flame_failure_test"), ("fuel", "fuel_valve_closure"),
    ("fuel", "fuel_valve_leak_test"), ("gas-low", "gas_pressure_low_trip"), ("air-switch", "air_proving_trip"),
    ("spill", "spill_switch_trip"), ("rollout", "rollout_switch_trip"), ("switch", "emergency_switch_test"),
    ("draft", "draft_reading"), ("burner", "combustion_test"), ("burner", "clock_input"), ("burner", "soap_test"),
    ("lower", "slow_drain"), ("valve", "discharge_pipe_check"), ("valve", "lever_lift"), ("valve", "pop_test"),
    ("valve-2", "lever_lift"), ("valve-2", "pop_test"), ("cock", "manual_cock_check"), ("cock", "soap_test"),
    ("feeder", "feeder_check"), ("backflow", "backflow_check"), ("receiver", "receiver_inspect"),
    ("body", "leak_check"),
)  # fmt: skip
COLD = (("glass", "gauge_glass_inspect"), ("chamber", "chamber_open_inspect"), ("lower", "probe_clean_inspect"))
LAST = (("glass", "gauge_glass_blowdown"), ("lower", "slow_drain"), ("upper", "slow_drain"), ("upper", "flush"))
RESTART = (("burner", "normal_restart"),)

LEFT_WELL: Mapping[str, object] = {
    "jumpers_off": True, "set_points_read": True, "feed_open": True, "drains_shut": True, "glass_cocks_open": True,
    "resets_in": True, "water_at_line": True, "tags_accounted": True,
}  # fmt: skip

_ONLY_FLOAT, _ONLY_PROBE = {"flush", "chamber_open_inspect"}, {"probe_clean_inspect"}


def possible(boiler: Boiler, place: str, code: str) -> bool:
    """Return whether the procedure is possible: the place is filled, and by a device the procedure is for."""
    if not boiler.having(place):
        return False
    kind = boiler.places[place].kind
    if code == "flush":
        return kind == "float_cutoff"
    return not (code in _ONLY_PROBE and kind != "probe_cutoff")


def asked(boiler: Boiler, rows: tuple[tuple[str, str], ...]) -> Iterator[tuple[str, str]]:
    """Yield the rows that are possible at this boiler."""
    return ((place, code) for place, code in rows if possible(boiler, place, code))
