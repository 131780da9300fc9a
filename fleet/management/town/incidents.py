"""Incidents that people notice at once and call about: what is observed, the right findings, and the repair."""

from dataclasses import dataclass

from fleet.management.town.story_values import TownLine
from fleet.management.town.town_lines import action_line, observe_line, proof_line


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
        needs=("limit",),
        found_lines=(observe_line("lockout_found", "limit"),),
        repair_lines=(
            action_line("adjust", "control"),
            proof_line("operating_control_trip", "control"),
            proof_line("limit_trip", "limit", 50),
        ),
        rules=("lockout_found",),
        arrival="locked_out",
    ),
    Incident(
        "locked_out_flame",
        0.08,
        needs=("flame",),
        found_lines=(observe_line("lockout_found", "flame"),),
        repair_lines=_CAUSE_FLAME,
        rules=("lockout_cause",),
        arrival="locked_out",
    ),
    Incident(
        "flame_locks_out_again",
        0.02,
        needs=("flame",),
        found_lines=(observe_line("lockout_found", "flame"),),
        repair_lines=_CAUSE_FLAME,
        rules=("lockout_cause", "lockouts_without_cause"),
        arrival="locked_out",
        days=(12, 5),
    ),
    Incident(
        "flame_reset_again",
        0.03,
        needs=("flame",),
        found_lines=(observe_line("reset_pressed", "flame", 5), observe_line("reset_pressed", "flame", 30)),
        repair_lines=_CAUSE_FLAME,
        rules=("resets_flame",),
    ),
    Incident(
        "limit_reset_again",
        0.02,
        needs=("limit",),
        found_lines=(observe_line("reset_pressed", "limit", 5), observe_line("reset_pressed", "limit", 40)),
        repair_lines=_CAUSE_LIMIT,
        rules=("resets_without_cause",),
    ),
    Incident(
        "jumper",
        0.03,
        needs=("limit",),
        found_lines=(observe_line("jumper_found", "limit"),),
        repair_lines=(action_line("jumper_removed", "limit"), proof_line("limit_trip", "limit")),
        rules=("jumper_found",),
    ),
    Incident(
        "gas_smell",
        0.01,
        needs=("cock",),
        found_lines=(observe_line("gas_smell"), action_line("shut_fuel", "cock")),
        repair_lines=(action_line("tighten", "cock"), proof_line("soap_test", "cock")),
        rules=("people_in_danger",),
    ),
    Incident(
        "alarm_sounds",
        0.015,
        needs=("alarm", "burner"),
        found_lines=(observe_line("alarm_sounding", "alarm"),),
        repair_lines=(
            action_line("burner_service", "burner"),
            action_line("tune", "burner"),
            action_line("replace_part", "alarm"),
            proof_line("combustion_test", "burner"),
            proof_line("co_alarm_test", "alarm", 50),
        ),
        rules=("ambient_co",),
    ),
    Incident(
        "vent_blocked_and_alarm",
        0.006,
        needs=("alarm", "vent", "burner"),
        found_lines=(observe_line("vent_blocked", "vent"), observe_line("alarm_sounding", "alarm", 6)),
        repair_lines=(
            action_line("clear_opening", "vent"),
            action_line("tighten", "vent"),
            action_line("tune", "burner"),
            action_line("replace_part", "alarm"),
            proof_line("vent_inspection", "vent"),
            proof_line("combustion_test", "burner", 50),
            proof_line("co_alarm_test", "alarm", 55),
        ),
        rules=("vent_loose", "ambient_co", "air_or_vent_with_co"),
    ),
    Incident(
        "air_blocked",
        0.02,
        needs=("air",),
        found_lines=(observe_line("air_blocked", "air"),),
        repair_lines=(action_line("clear_opening", "air"), proof_line("combustion_air_check", "air")),
        rules=("combustion_air_blocked",),
        left_as="on_call",
    ),
    Incident(
        "spill_tripped",
        0.02,
        needs=("spill",),
        found_lines=(observe_line("spill_found_tripped", "spill"),),
        repair_lines=(
            observe_line("cause_found", "spill", 10),
            action_line("adjust", "spill"),
            proof_line("spill_switch_trip", "spill"),
        ),
        rules=("spill_tripped_found",),
        arrival="locked_out",
    ),
    Incident(
        "glass_empty_cold",
        0.015,
        needs=("body", "feeder"),
        found_lines=(observe_line("glass_empty", burner_firing=False),),
        repair_lines=(observe_line("cause_found"), *_DRIES),
        rules=("glass_empty_off",),
        arrival="off",
    ),
    Incident(
        "glass_empty_hot",
        0.004,
        needs=("body", "feeder"),
        found_lines=(observe_line("glass_empty", burner_firing=True),),
        repair_lines=(action_line("repair", "upper"), action_line("repair", "lower"), *_DRIES),
        rules=("glass_empty_firing", "cutoff_below_trip", "low_not_feeding"),
        arrival="firing",
    ),
    Incident(
        "fired_dry",
        0.004,
        needs=("body",),
        found_lines=(observe_line("dry_fired"),),
        repair_lines=(action_line("repair", "body"), proof_line("internal_inspection", "body", 35)),
        rules=("dry_fired",),
        papers="inspector",
    ),
    Incident(
        "water_under_trip",
        0.006,
        needs=("upper",),
        found_lines=(observe_line("level_below_trip", "upper", burner_firing=True),),
        repair_lines=(action_line("repair", "upper"), *DRAINS),
        rules=("cutoff_below_trip",),
        arrival="firing",
    ),
    Incident(
        "glass_full",
        0.03,
        needs=("glass",),
        found_lines=(observe_line("glass_full", "glass"),),
        repair_lines=(
            action_line("adjust", "feeder"),
            proof_line("gauge_glass_blowdown", "glass"),
            proof_line("feeder_check", "feeder", 50),
        ),
        rules=("glass_full",),
        left_as="on_call",
    ),
    Incident(
        "glass_stays_full",
        0.006,
        needs=("glass",),
        found_lines=(observe_line("glass_full", "glass"), observe_line("glass_stays_full", "glass", 25)),
        repair_lines=(
            action_line("repair", "feeder"),
            proof_line("gauge_glass_blowdown", "glass"),
            proof_line("feeder_check", "feeder", 50),
        ),
        rules=("glass_full", "glass_full_stays"),
    ),
    Incident(
        "glass_broken",
        0.03,
        needs=("glass",),
        found_lines=(observe_line("glass_broken", "glass"),),
        repair_lines=_GLASS,
        rules=("glass_unreadable",),
        by="caretaker",
    ),
    Incident(
        "feeding_idle",
        0.03,
        needs=("feeder",),
        found_lines=(observe_line("feeding_above_normal", "feeder", burner_firing=False),),
        repair_lines=(action_line("repair", "feeder"), proof_line("feeder_check", "feeder")),
        rules=("feeding_burner_off",),
        arrival="off",
        left_as="on_call",
    ),
    Incident(
        "feeding_firing",
        0.02,
        needs=("feeder",),
        found_lines=(observe_line("feeding_above_normal", "feeder", burner_firing=True),),
        repair_lines=(action_line("repair", "feeder"), proof_line("feeder_check", "feeder")),
        rules=("feeding_burner_on",),
        arrival="firing",
        left_as="on_call",
    ),
    Incident(
        "low_water",
        0.02,
        needs=("feeder",),
        found_lines=(observe_line("not_feeding_low", "feeder"),),
        repair_lines=(action_line("repair", "feeder"), proof_line("feeder_check", "feeder")),
        rules=("low_not_feeding",),
    ),
    Incident(
        "fuel_burned_on",
        0.006,
        needs=("circuit",),
        found_lines=(observe_line("switch_opened_fuel_burned", "limit", burner_firing=True),),
        repair_lines=(
            action_line("rewire", "circuit"),
            action_line("repair", "limit"),
            proof_line("limit_circuit_trip", "circuit"),
            proof_line("limit_trip", "limit", 50),
            proof_line("flame_failure_test", "flame", 55),
        ),
        rules=("output_path_failed",),
        arrival="firing",
    ),
    Incident(
        "gauge_at_zero",
        0.02,
        needs=("gauge",),
        found_lines=(observe_line("gauge_zero_steaming", "gauge", burner_firing=True),),
        repair_lines=(
            action_line("clear", "siphon-1"),
            action_line("clear", "siphon-2"),
            proof_line("siphon_check", "siphon-1", 30),
            proof_line("siphon_check", "siphon-2", 31),
            proof_line("operating_control_trip", "control"),
            proof_line("limit_trip", "limit", 50),
            proof_line("gauge_comparison", "gauge", 60),
        ),
        rules=("gauge_zero_with_steam",),
        arrival="firing",
    ),
    Incident(
        "valve_opened",
        0.01,
        needs=("valve", "circuit", "fuel"),
        found_lines=(observe_line("valve_opened_under_pressure", "valve"),),
        repair_lines=_UNDER_VALVE,
        rules=("valve_opened", "presumed_by_valve"),
    ),
    Incident(
        "valve_tied_down",
        0.006,
        needs=("valve",),
        found_lines=(observe_line("valve_blocked", "valve"),),
        repair_lines=(action_line("clear_opening", "valve"), proof_line("lever_lift", "valve")),
        rules=("valve_blocked",),
    ),
    Incident(
        "tag_of_inspector",
        0.015,
        needs=("limit",),
        found_lines=(observe_line("tag_found_inspector"),),
        repair_lines=(observe_line("tag_lifted_inspector"),),
        rules=("tag_inspector",),
        by="inspector",
        papers="inspector",
    ),
    Incident(
        "tag_of_utility",
        0.01,
        needs=("cock",),
        found_lines=(observe_line("tag_found_utility"), action_line("shut_fuel", "cock")),
        repair_lines=(observe_line("tag_lifted_utility"),),
        rules=("tag_utility",),
        papers="utility",
    ),
    Incident(
        "gauge_and_siphon_disagree",
        0.01,
        needs=("gauge",),
        found_lines=(
            observe_line("gauge_zero_steaming", "gauge", burner_firing=True),
            proof_line("siphon_check", "siphon-1", 20),
        ),
        repair_lines=(
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
        rules=("contradiction", "gauge_zero_with_steam"),
        arrival="firing",
    ),
)

INCIDENTS_BY_CODE = {i.code: i for i in INCIDENTS}
