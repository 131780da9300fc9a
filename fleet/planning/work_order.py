"""The order of work on a visit. Tests as found come before anything is opened: cleaning destroys as-found evidence.

The catalogue has no number for a procedure's place in that order, so this module is its only table. The order of the
procedures within a group is the order of the tuple (common practice).
"""

from dataclasses import dataclass

from fleet.rules.catalogue import ProcedureSpec

FIRING, HOT_LEVEL, HOT_LAST, LOCKED_OFF, REFILLED, AS_LEFT, LEAVING = 2, 3, 4, 5, 6, 7, 8


@dataclass(frozen=True, slots=True)
class WorkGroup:
    """One stretch of a visit; `always` is the text of what is done in it on every visit."""

    number: int
    title: str
    always: str


GROUPS = (
    WorkGroup(
        0,
        "Before touching anything",
        "Measure the air for carbon monoxide on the way in, look at glass, gauge and tags, talk to whoever looks after "
        "the boiler, and write down every reset that was pressed or is found out.",
    ),
    WorkGroup(
        1,
        "Can the instruments be believed?",
        "Prove the cocks of the gauge glass open, read the gauge against zero where the boiler is cold, and search for "
        "jumpers, wedges, tape and plugs.",
    ),
    WorkGroup(
        FIRING,
        "As found, firing",
        "Prove what is there before anything is cleaned or set: cleaning first destroys the as-found evidence.",
    ),
    WorkGroup(
        HOT_LEVEL,
        "As found, by lowering the water",
        "A second person watches the glass; stop the burner by hand before the water leaves it. Never add water while "
        "the glass is empty.",
    ),
    WorkGroup(
        HOT_LAST, "Safety valve, last of the hot tests", "Stand clear of the discharge: people out of its way first."
    ),
    WorkGroup(
        LOCKED_OFF,
        "Power and fuel locked off, vented, isolated",
        "Lock and tag power and fuel, let the pressure fall to zero, vent and isolate, let it cool; then open, clean "
        "and repair.",
    ),
    WorkGroup(
        REFILLED,
        "Refill and fire",
        "Take locks and tags of the work off, refill to the line with the boiler cool, purge, and watch it light.",
    ),
    WorkGroup(
        AS_LEFT,
        "As left",
        "Prove again everything that was touched, and at a season's start everything the season asks for.",
    ),
    WorkGroup(
        LEAVING,
        "Leaving checks",
        "Every one of them a yes; a no is a reason to leave the boiler off and to tell somebody.",
    ),
)

CODES_BY_GROUP: dict[int, tuple[str, ...]] = {
    0: (
        "level_observation",
        "pressure_observation",
        "co_alarm_test",
        "combustion_air_check",
        "vent_inspection",
        "leak_check",
        "discharge_pipe_check",
        "valve_drain_check",
        "meter_reading",
        "boiler_room_check",
        "freeze_check",
        "external_inspection",
    ),
    1: ("gauge_glass_blowdown", "try_cock_check", "gauge_zero_check", "ladder_read_back"),
    FIRING: (
        "gauge_comparison",
        "water_test",
        "feed_pump_check",
        "pump_alternation_check",
        "igniter_check",
        "low_fire_start_check",
        "firing_rate_linkage_check",
        "flush",
        "button_test",
        "feeder_check",
        "operating_control_trip",
        "limit_trip",
        "limit_calibration",
        "limit_circuit_trip",
        "emergency_switch_test",
        "flame_signal",
        "flame_failure_test",
        "pilot_turndown",
        "fuel_valve_closure",
        "proof_of_closure_check",
        "fuel_valve_leak_test",
        "manual_cock_check",
        "oil_fire_valve_check",
        "gas_regulator_check",
        "soap_test",
        "gas_pressure_low_trip",
        "gas_pressure_high_trip",
        "oil_pressure_low_trip",
        "oil_temperature_trip",
        "atomizing_medium_trip",
        "low_draft_trip",
        "air_proving_trip",
        "louvre_interlock_trip",
        "spill_switch_trip",
        "rollout_switch_trip",
        "clock_input",
        "barometric_damper_check",
        "draft_reading",
        "combustion_test",
        "steaming_check",
        "steam_valves_check",
        "backflow_check",
    ),
    HOT_LEVEL: ("slow_drain", "evaporation", "bottom_blowdown"),
    HOT_LAST: ("lever_lift", "pop_test", "accumulation_test"),
    LOCKED_OFF: (
        "siphon_check",
        "chamber_open_inspect",
        "probe_clean_inspect",
        "gauge_glass_inspect",
        "receiver_inspect",
        "internal_inspection",
        "waterside_cleaning",
        "fireside_cleaning",
        "chimney_cleanout",
        "oil_strainer_nozzle_service",
        "wiring_inspection",
        "valve_shop_test",
    ),
    REFILLED: ("new_valve_check", "normal_restart"),
    AS_LEFT: ("season_restart_check", "three_cycles", "lay_up_wet", "lay_up_dry"),
}
_ORDER_BY_CODE = {code: (group, place) for group, codes in CODES_BY_GROUP.items() for place, code in enumerate(codes)}
_UNLISTED_PLACE = 99  # procedures of a later release come after the listed ones


def as_found_order(procedure: ProcedureSpec) -> tuple[int, int]:
    """Return group and place of a procedure done as found; an unlisted one goes by whether it opens something."""
    opens_boiler = procedure.voids == "open" or "lock and tag" in procedure.tools
    return _ORDER_BY_CODE.get(procedure.code, (LOCKED_OFF if opens_boiler else FIRING, _UNLISTED_PLACE))


def as_left_order(procedure: ProcedureSpec) -> tuple[int, int]:
    """Return group and place of a proof after work: in the order of the tests themselves, the safety valve last."""
    group, place = as_found_order(procedure)
    return AS_LEFT, group * 100 + place
