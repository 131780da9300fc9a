"""Hidden failures of a boiler: their rates, the readings that show them, the right findings, and the repairs.

Rates per boiler and year are invented for a lively town; they are no figures of the trade.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from fleet.management.town.told import Value

Shown = Mapping[str, Mapping[str, Value]]
Rows = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Trouble:
    """One way to fail. `shows`: by procedure, the readings that differ. It stays hidden until one of these is done.

    `failing_procedures`: reported failed though no reading shows it. `passing_procedures`: pass all the same.
    `repair_actions`: actions by place. `proves`: tests by place that end the repair. `stops`: once it is found
    the boiler is left off. `only`: the kind of device it happens to. `heard`: somebody calls before any visit.
    """

    code: str
    place: str
    rate: float
    shows: Shown
    rules: tuple[str, ...]
    fix: Rows
    proves: Rows
    stops: bool = True
    only: str = ""
    claimed: frozenset[str] = frozenset()
    noted: frozenset[str] = frozenset()
    heard: bool = False
    twice: bool = False  # the first repair does not help: the same test finds it again
    blinds: tuple[str, ...] = field(default=())  # places whose tests cannot be done until it is repaired


UPPER = (("upper", "slow_drain"), ("upper", "flush"))
LIMIT, CONTROL = (("limit", "limit_trip"),), (("control", "operating_control_trip"),)

TROUBLES = (
    # What a flush covers.
    Trouble("float_switch_stuck", "upper", 0.05, {"flush": {"burner_stopped": False},
            "slow_drain": {"burner_stopped": False}}, ("flush_keeps_firing", "lowering_no_trip"),
            (("upper", "repair"),), UPPER, only="float_cutoff"),
    Trouble("chamber_full_of_sediment", "chamber", 0.06, {"flush": {"water": "little", "recovery": "none"}},
            ("flush_no_water", "flush_slow_recovery"), (("chamber", "open_clean"),), UPPER),
    Trouble("sediment_building", "chamber", 0.12, {"flush": {"sediment": "very_dirty"}}, ("flush_dirty",),
            (("chamber", "open_clean"),), UPPER, stops=False, noted=frozenset({"flush"})),
    Trouble("equalizing_pipes_fouled", "chamber", 0.06, {"flush": {"recovery": "slow"}}, ("flush_slow_recovery",),
            (("chamber", "rod"),), UPPER),
    # What only a slow drain shows.
    Trouble("float_linkage_bent", "upper", 0.025, {"slow_drain": {"trip_in": 0.7}}, ("lowering_too_low",),
            (("upper", "repair"),), UPPER, only="float_cutoff"),
    Trouble("upper_set_too_low", "upper", 0.02, {"slow_drain": {"trip_in": 1.3}}, ("lowering_out_of_order",),
            (("upper", "adjust"),), UPPER),
    Trouble("probe_bridged", "lower", 0.03, {"slow_drain": {"burner_stopped": False},
            "probe_clean_inspect": {"insulator_sound": False, "found": "insulator_damaged"}},
            ("lowering_no_trip", "probe_bridged"), (("lower", "replace_part"),), (("lower", "slow_drain"),)),
    Trouble("probe_scaled", "lower", 0.08, {"probe_clean_inspect": {"tip_sound": False, "found": "scaled"}},
            ("probe_scaled",), (("lower", "open_clean"),), (("lower", "slow_drain"),), stops=False),
    Trouble("lower_does_not_lock", "lower", 0.02, {"slow_drain": {"locked_out": False}}, ("lower_cutoff_restarts",),
            (("lower", "rewire"),), (("lower", "slow_drain"),)),
    # Pressure.
    Trouble("siphon_plugged", "siphon-1", 0.04, {"siphon_check": {"passes_water": False}}, ("siphon_plugged",),
            (("siphon-1", "clear"), ("siphon-1", "fill_siphon")),
            (("siphon-1", "siphon_check"), *CONTROL, *LIMIT, ("gauge", "gauge_comparison")),
            blinds=("control", "limit", "gauge")),
    Trouble("limit_siphon_plugged", "siphon-2", 0.04, {"siphon_check": {"passes_water": False}}, ("siphon_plugged",),
            (("siphon-2", "clear"), ("siphon-2", "fill_siphon")),
            (("siphon-2", "siphon_check"), *LIMIT, ("gauge", "gauge_comparison")), blinds=("limit", "gauge")),
    Trouble("control_drifted_up", "control", 0.04, {"operating_control_trip": {"trip_psi": 8.6}},
            ("operating_control_failed",), (("control", "adjust"),), (*CONTROL, ("control", "three_cycles")),
            stops=False),
    Trouble("limit_stuck", "limit", 0.02, {"limit_trip": {"trip_psi": 14.1}}, ("limit_failed",),
            (("limit", "repair"),), LIMIT),
    Trouble("limit_resets_itself", "limit", 0.015, {"limit_trip": {"restarted_by_hand": False}}, ("limit_restarts",),
            (("limit", "repair"),), LIMIT),
    Trouble("valve_stuck", "valve", 0.015, {"lever_lift": {"lifted": False, "discharged": False}}, ("valve_no_lift",),
            (("valve", "replace_part"),), (("valve", "valve_shop_test"), ("valve", "lever_lift"))),
    Trouble("valve_weeps", "valve", 0.05, {"lever_lift": {"after_lift": "weeps"}}, ("valve_drips",),
            (("valve", "open_clean"),), (("valve", "valve_shop_test"), ("valve", "lever_lift")), stops=False,
            noted=frozenset({"lever_lift"})),
    Trouble("valve_seat_cut", "valve", 0.01, {"lever_lift": {"after_lift": "drips"}},
            ("valve_drips", "valve_drips_again"), (("valve", "replace_part"),),
            (("valve", "valve_shop_test"), ("valve", "lever_lift")), twice=True, noted=frozenset({"lever_lift"})),
    Trouble("valve_spring_weak", "valve", 0.015, {"pop_test": {"opens_psi": 11.5}}, ("set_pressure_off",),
            (("valve", "replace_part"),), (("valve", "valve_shop_test"), ("valve", "lever_lift"))),
    Trouble("seal_missing", "valve", 0.01, {"pop_test": {"seal_intact": False}}, ("valve_wrong",),
            (("valve", "replace_part"),), (("valve", "valve_shop_test"), ("valve", "lever_lift"))),
    Trouble("discharge_walled_in", "valve", 0.01, {"discharge_pipe_check": {"open_end_clear": False}},
            ("valve_blocked",), (("valve", "clear_opening"),), (("valve", "lever_lift"),)),
    Trouble("gauge_reads_low", "gauge", 0.04, {"gauge_comparison": {"difference_psi": 2.5}}, ("gauge_off",),
            (("gauge", "calibrate"),), (("gauge", "gauge_comparison"),), stops=False),
    # Water.
    Trouble("glass_plugged", "glass", 0.03, {"gauge_glass_blowdown": {"water_returns": "slow"}}, ("glass_unreadable",),
            (("glass", "open_clean"),), (("glass", "gauge_glass_blowdown"),)),
    Trouble("glass_leaks", "glass", 0.03, {"gauge_glass_inspect": {"tight": False}}, ("equipment_failed",),
            (("glass", "tighten"),), (("glass", "gauge_glass_inspect"), ("glass", "gauge_glass_blowdown")),
            stops=False),
    Trouble("feeder_passes", "feeder", 0.06, {"feeder_check": {"tight_when_off": False}}, ("feeder_failed",),
            (("feeder", "repair"),), (("feeder", "feeder_check"),), stops=False),
    Trouble("backflow_drips", "backflow", 0.05, {"backflow_check": {"drips": True}}, ("equipment_failed",),
            (("backflow", "repair"),), (("backflow", "backflow_check"),), stops=False),
    Trouble("section_weeps", "body", 0.02, {"leak_check": {"tight": False}}, ("boiler_leaks",),
            (("body", "repair"),), (("body", "leak_check"),), stops=False),
    Trouble("section_cracked", "body", 0.01, {"leak_check": {"furnace_dry": False}}, ("boiler_leaks_into_furnace",),
            (("body", "replace_part"),), (("body", "leak_check"),)),
    # Fire.
    Trouble("flame_rod_slow", "flame", 0.03, {"flame_failure_test": {"seconds_to_shut": 7.5}},
            ("flame_failure_slow",), (("flame", "replace_part"),), (("flame", "flame_failure_test"),)),
    Trouble("relay_welded", "circuit", 0.012, {"limit_circuit_trip": {"burner_stopped": False, "fuel_shut": False}},
            ("output_path_failed",), (("circuit", "rewire"),), (("circuit", "limit_circuit_trip"),)),
    Trouble("fuel_valve_passes", "fuel", 0.03, {"fuel_valve_leak_test": {"within_makers_limit": False}},
            ("fuel_valve_leaks",), (("fuel", "replace_part"),),
            (("fuel", "fuel_valve_closure"), ("fuel", "fuel_valve_leak_test"))),
    Trouble("union_leaks", "cock", 0.03, {"soap_test": {"bubbles": True}}, ("fuel_piping_leaks",),
            (("cock", "tighten"),), (("cock", "soap_test"),)),
    Trouble("spill_switch_dead", "spill", 0.03, {"spill_switch_trip": {"burner_stopped": False}},
            ("interlock_failed",), (("spill", "replace_part"),), (("spill", "spill_switch_trip"),)),
    Trouble("air_switch_stuck", "air-switch", 0.03, {"air_proving_trip": {"burner_stopped": False}},
            ("interlock_failed",), (("air-switch", "repair"),), (("air-switch", "air_proving_trip"),)),
    Trouble("burner_rich", "burner", 0.05, {"combustion_test": {"co_ppm": 160.0, "o2_pct": 4.0}}, ("co_adjust",),
            (("burner", "tune"),), (("burner", "combustion_test"),), stops=False,
            noted=frozenset({"combustion_test"})),
    Trouble("burner_sooted", "burner", 0.02, {"combustion_test": {"co_ppm": 620.0, "o2_pct": 4.5}}, ("co_high",),
            (("burner", "burner_service"), ("burner", "tune")), (("burner", "combustion_test"),)),
    Trouble("orifice_drilled", "burner", 0.015, {"clock_input": {"input_btu_h": 3_400_000.0}}, ("over_fired",),
            (("burner", "tune"),), (("burner", "clock_input"), ("burner", "combustion_test")), stops=False),
    Trouble("draft_poor", "draft", 0.03, {"draft_reading": {"draws": False}}, ("draft_failed",),
            (("draft", "adjust"),), (("draft", "draft_reading"),), stops=False),
    Trouble("alarm_mute", "alarm", 0.05, {"co_alarm_test": {"sounds": False}}, ("alarm_failed",),
            (("alarm", "replace_part"),), (("alarm", "co_alarm_test"),), stops=False),
    Trouble("opening_boarded_up", "air", 0.04, {"combustion_air_check": {"open": False}}, ("combustion_air_blocked",),
            (("air", "clear_opening"),), (("air", "combustion_air_check"),), stops=False),
    Trouble("vent_screws_out", "vent", 0.04, {"vent_inspection": {"sound": False}}, ("vent_loose",),
            (("vent", "tighten"),), (("vent", "vent_inspection"),), stops=False),
    # Reported failed although every reading is good.
    Trouble("odd_feeling", "upper", 0.01, {}, ("test_failed",), (("upper", "repair"),), UPPER,
            claimed=frozenset({"slow_drain"})),
    Trouble("chamber_cracked", "chamber", 0.01, {}, ("chamber_fouled",), (("chamber", "replace_part"),),
            (("chamber", "chamber_open_inspect"), *UPPER), claimed=frozenset({"chamber_open_inspect"})),
)  # fmt: skip

BY_CODE = {t.code: t for t in TROUBLES}
