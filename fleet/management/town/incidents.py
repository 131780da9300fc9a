"""Incidents that people notice at once and call about: what is observed, the right findings, and the repair."""

from dataclasses import dataclass

from fleet.management.town.story_values import TownLine, Value


@dataclass(frozen=True, slots=True)
class Incident:
    """One kind of incident. `found_lines` and `repair_lines` belong to its two visits; `rate` is per year.

    `needs`: places the boiler must have. `by`: the role that comes. `arrival`: state of the boiler then. `papers`: only
    this role ends it. `days`: visits with the same observation so many days before. `left_as`: how the boiler is left.
    """

    code: str
    rate: float
    needs: tuple[str, ...]
    found_lines: tuple[TownLine, ...]
    repair_lines: tuple[TownLine, ...]
    rules: tuple[str, ...]
    arrival: str = "unknown"
    by: str = "technician"
    papers: str = ""
    days: tuple[int, ...] = ()
    left_as: str = "off_locked"


def observe_line(code: str, place: str = "", minute: int = 5, **readings: Value) -> TownLine:
    """Return the line of an observation."""
    return TownLine("observe", code, place, minute, readings=readings)


def action_line(code: str, place: str, minute: int = 20) -> TownLine:
    """Return the line of an action."""
    return TownLine("action", code, place, minute)


def proof_line(code: str, place: str, minute: int = 40, outcome: str = "pass", **readings: Value) -> TownLine:
    """Return the line of a test. Readings left out are those of a sound device."""
    return TownLine("test", code, place, minute, outcome, readings)


DRAINS = (
    proof_line("slow_drain", "lower", 50),
    proof_line("slow_drain", "upper", 60),
    proof_line("flush", "upper", 65),
)
SEALED = (
    action_line("replace_part", "valve"),
    proof_line("valve_shop_test", "valve", 45),
    proof_line("lever_lift", "valve", 50),
)
_DRIES = (
    action_line("repair", "feeder"),
    proof_line("internal_inspection", "body", 35),
    *DRAINS,
    proof_line("feeder_check", "feeder", 70),
)
_GLASS = (
    action_line("open_clean", "glass"),
    proof_line("gauge_glass_inspect", "glass", 40),
    proof_line("gauge_glass_blowdown", "glass", 45),
)
_UNDER_VALVE = (
    action_line("adjust", "control"),
    action_line("clear", "siphon-1"),
    action_line("clear", "siphon-2"),
    action_line("adjust", "limit"),
    *SEALED,
    proof_line("siphon_check", "siphon-1", 60),
    proof_line("siphon_check", "siphon-2", 61),
    proof_line("operating_control_trip", "control", 65),
    proof_line("limit_trip", "limit", 70),
    proof_line("limit_circuit_trip", "circuit", 75),
    proof_line("fuel_valve_closure", "fuel", 80),
    proof_line("gauge_comparison", "gauge", 85),
)
_CAUSE_LIMIT = (
    observe_line("cause_found", "limit", 10),
    observe_line("cause_found", "control", 10),
    action_line("adjust", "control"),
    action_line("adjust", "limit"),
    proof_line("operating_control_trip", "control"),
    proof_line("limit_trip", "limit", 50),
)
_CAUSE_FLAME = (
    observe_line("cause_found", "flame", 10),
    action_line("replace_part", "flame"),
    proof_line("flame_failure_test", "flame", 40),
)

INCIDENTS = (
    Incident(
        "locked_out_limit",
        0.06,
        ("limit",),
        (observe_line("lockout_found", "limit"),),
        (
            action_line("adjust", "control"),
            proof_line("operating_control_trip", "control"),
            proof_line("limit_trip", "limit", 50),
        ),
        ("lockout_found",),
        "locked_out",
    ),
    Incident(
        "locked_out_flame",
        0.08,
        ("flame",),
        (observe_line("lockout_found", "flame"),),
        _CAUSE_FLAME,
        ("lockout_cause",),
        "locked_out",
    ),
    Incident(
        "flame_locks_out_again",
        0.02,
        ("flame",),
        (observe_line("lockout_found", "flame"),),
        _CAUSE_FLAME,
        ("lockout_cause", "lockouts_without_cause"),
        "locked_out",
        days=(12, 5),
    ),
    Incident(
        "flame_reset_again",
        0.03,
        ("flame",),
        (observe_line("reset_pressed", "flame", 5), observe_line("reset_pressed", "flame", 30)),
        _CAUSE_FLAME,
        ("resets_flame",),
    ),
    Incident(
        "limit_reset_again",
        0.02,
        ("limit",),
        (observe_line("reset_pressed", "limit", 5), observe_line("reset_pressed", "limit", 40)),
        _CAUSE_LIMIT,
        ("resets_without_cause",),
    ),
    Incident(
        "jumper",
        0.03,
        ("limit",),
        (observe_line("jumper_found", "limit"),),
        (action_line("jumper_removed", "limit"), proof_line("limit_trip", "limit")),
        ("jumper_found",),
    ),
    Incident(
        "gas_smell",
        0.01,
        ("cock",),
        (observe_line("gas_smell"), action_line("shut_fuel", "cock")),
        (action_line("tighten", "cock"), proof_line("soap_test", "cock")),
        ("people_in_danger",),
    ),
    Incident(
        "alarm_sounds",
        0.015,
        ("alarm", "burner"),
        (observe_line("alarm_sounding", "alarm"),),
        (
            action_line("burner_service", "burner"),
            action_line("tune", "burner"),
            action_line("replace_part", "alarm"),
            proof_line("combustion_test", "burner"),
            proof_line("co_alarm_test", "alarm", 50),
        ),
        ("ambient_co",),
    ),
    Incident(
        "vent_blocked_and_alarm",
        0.006,
        ("alarm", "vent", "burner"),
        (observe_line("vent_blocked", "vent"), observe_line("alarm_sounding", "alarm", 6)),
        (
            action_line("clear_opening", "vent"),
            action_line("tighten", "vent"),
            action_line("tune", "burner"),
            action_line("replace_part", "alarm"),
            proof_line("vent_inspection", "vent"),
            proof_line("combustion_test", "burner", 50),
            proof_line("co_alarm_test", "alarm", 55),
        ),
        ("vent_loose", "ambient_co", "air_or_vent_with_co"),
    ),
    Incident(
        "air_blocked",
        0.02,
        ("air",),
        (observe_line("air_blocked", "air"),),
        (action_line("clear_opening", "air"), proof_line("combustion_air_check", "air")),
        ("combustion_air_blocked",),
        left_as="on_call",
    ),
    Incident(
        "spill_tripped",
        0.02,
        ("spill",),
        (observe_line("spill_found_tripped", "spill"),),
        (
            observe_line("cause_found", "spill", 10),
            action_line("adjust", "spill"),
            proof_line("spill_switch_trip", "spill"),
        ),
        ("spill_tripped_found",),
        "locked_out",
    ),
    Incident(
        "glass_empty_cold",
        0.015,
        ("body", "feeder"),
        (observe_line("glass_empty", burner_firing=False),),
        (observe_line("cause_found"), *_DRIES),
        ("glass_empty_off",),
        "off",
    ),
    Incident(
        "glass_empty_hot",
        0.004,
        ("body", "feeder"),
        (observe_line("glass_empty", burner_firing=True),),
        (action_line("repair", "upper"), action_line("repair", "lower"), *_DRIES),
        ("glass_empty_firing", "cutoff_below_trip", "low_not_feeding"),
        "firing",
    ),
    Incident(
        "fired_dry",
        0.004,
        ("body",),
        (observe_line("dry_fired"),),
        (action_line("repair", "body"), proof_line("internal_inspection", "body", 35)),
        ("dry_fired",),
        papers="inspector",
    ),
    Incident(
        "water_under_trip",
        0.006,
        ("upper",),
        (observe_line("level_below_trip", "upper", burner_firing=True),),
        (action_line("repair", "upper"), *DRAINS),
        ("cutoff_below_trip",),
        "firing",
    ),
    Incident(
        "glass_full",
        0.03,
        ("glass",),
        (observe_line("glass_full", "glass"),),
        (
            action_line("adjust", "feeder"),
            proof_line("gauge_glass_blowdown", "glass"),
            proof_line("feeder_check", "feeder", 50),
        ),
        ("glass_full",),
        left_as="on_call",
    ),
    Incident(
        "glass_stays_full",
        0.006,
        ("glass",),
        (observe_line("glass_full", "glass"), observe_line("glass_stays_full", "glass", 25)),
        (
            action_line("repair", "feeder"),
            proof_line("gauge_glass_blowdown", "glass"),
            proof_line("feeder_check", "feeder", 50),
        ),
        ("glass_full", "glass_full_stays"),
    ),
    Incident(
        "glass_broken",
        0.03,
        ("glass",),
        (observe_line("glass_broken", "glass"),),
        _GLASS,
        ("glass_unreadable",),
        by="caretaker",
    ),
    Incident(
        "feeding_idle",
        0.03,
        ("feeder",),
        (observe_line("feeding_above_normal", "feeder", burner_firing=False),),
        (action_line("repair", "feeder"), proof_line("feeder_check", "feeder")),
        ("feeding_burner_off",),
        "off",
        left_as="on_call",
    ),
    Incident(
        "feeding_firing",
        0.02,
        ("feeder",),
        (observe_line("feeding_above_normal", "feeder", burner_firing=True),),
        (action_line("repair", "feeder"), proof_line("feeder_check", "feeder")),
        ("feeding_burner_on",),
        "firing",
        left_as="on_call",
    ),
    Incident(
        "low_water",
        0.02,
        ("feeder",),
        (observe_line("not_feeding_low", "feeder"),),
        (action_line("repair", "feeder"), proof_line("feeder_check", "feeder")),
        ("low_not_feeding",),
    ),
    Incident(
        "fuel_burned_on",
        0.006,
        ("circuit",),
        (observe_line("switch_opened_fuel_burned", "limit", burner_firing=True),),
        (
            action_line("rewire", "circuit"),
            action_line("repair", "limit"),
            proof_line("limit_circuit_trip", "circuit"),
            proof_line("limit_trip", "limit", 50),
            proof_line("flame_failure_test", "flame", 55),
        ),
        ("output_path_failed",),
        "firing",
    ),
    Incident(
        "gauge_at_zero",
        0.02,
        ("gauge",),
        (observe_line("gauge_zero_steaming", "gauge", burner_firing=True),),
        (
            action_line("clear", "siphon-1"),
            action_line("clear", "siphon-2"),
            proof_line("siphon_check", "siphon-1", 30),
            proof_line("siphon_check", "siphon-2", 31),
            proof_line("operating_control_trip", "control"),
            proof_line("limit_trip", "limit", 50),
            proof_line("gauge_comparison", "gauge", 60),
        ),
        ("gauge_zero_with_steam",),
        "firing",
    ),
    Incident(
        "valve_opened",
        0.01,
        ("valve", "circuit", "fuel"),
        (observe_line("valve_opened_under_pressure", "valve"),),
        _UNDER_VALVE,
        ("valve_opened", "presumed_by_valve"),
    ),
    Incident(
        "valve_tied_down",
        0.006,
        ("valve",),
        (observe_line("valve_blocked", "valve"),),
        (action_line("clear_opening", "valve"), proof_line("lever_lift", "valve")),
        ("valve_blocked",),
    ),
    Incident(
        "tag_of_inspector",
        0.015,
        ("limit",),
        (observe_line("tag_found_inspector"),),
        (observe_line("tag_lifted_inspector"),),
        ("tag_inspector",),
        by="inspector",
        papers="inspector",
    ),
    Incident(
        "tag_of_utility",
        0.01,
        ("cock",),
        (observe_line("tag_found_utility"), action_line("shut_fuel", "cock")),
        (observe_line("tag_lifted_utility"),),
        ("tag_utility",),
        papers="utility",
    ),
    Incident(
        "gauge_and_siphon_disagree",
        0.01,
        ("gauge",),
        (observe_line("gauge_zero_steaming", "gauge", burner_firing=True), proof_line("siphon_check", "siphon-1", 20)),
        (
            observe_line("cause_found", "gauge", 5),
            observe_line("cause_found", "siphon-1", 5),
            observe_line("cause_found", "siphon-2", 5),
            action_line("clear", "siphon-1"),
            action_line("clear", "siphon-2"),
            action_line("replace_part", "gauge"),
            proof_line("siphon_check", "siphon-1", 30),
            proof_line("siphon_check", "siphon-2", 31),
            proof_line("operating_control_trip", "control"),
            proof_line("limit_trip", "limit", 50),
            proof_line("gauge_comparison", "gauge", 60),
        ),
        ("contradiction", "gauge_zero_with_steam"),
        "firing",
    ),
)

INCIDENTS_BY_CODE = {i.code: i for i in INCIDENTS}
