"""Incidents that people notice and call about: what is observed, the right findings, and the repair.

An incident happens at one instant and is found at once. A hidden failure is a `HiddenTrouble` instead.
"""

from dataclasses import dataclass

from fleet.management.town.told import Line, Value


@dataclass(frozen=True, slots=True)
class Incident:
    """One kind of incident. `found_lines` and `repair_lines` belong to its two visits; `rate` is per year.

    `needs`: places the boiler must have. `by`: the role that comes. `arrival`: state of the boiler then. `papers`: only
    this role ends it. `days`: visits with the same observation so many days before. `left_as`: how the boiler is left.
    """

    code: str
    rate: float
    needs: tuple[str, ...]
    found: tuple[Line, ...]
    mended: tuple[Line, ...]
    rules: tuple[str, ...]
    arrival: str = "unknown"
    by: str = "technician"
    papers: str = ""
    days: tuple[int, ...] = ()
    left: str = "off_locked"


def see(code: str, place: str = "", minute: int = 5, **readings: Value) -> Line:
    """Return the line of an observation."""
    return Line("observe", code, place, minute, readings=readings)


def do(code: str, place: str, minute: int = 20) -> Line:
    """Return the line of an action."""
    return Line("action", code, place, minute)


def tried(code: str, place: str, minute: int = 40, outcome: str = "pass", **readings: Value) -> Line:
    """Return the line of a test. Readings left out are those of a sound device."""
    return Line("test", code, place, minute, outcome, readings)


DRAINS = (tried("slow_drain", "lower", 50), tried("slow_drain", "upper", 60), tried("flush", "upper", 65))
SEALED = (do("replace_part", "valve"), tried("valve_shop_test", "valve", 45), tried("lever_lift", "valve", 50))
_DRIES = (
    do("repair", "feeder"),
    tried("internal_inspection", "body", 35),
    *DRAINS,
    tried("feeder_check", "feeder", 70),
)
_GLASS = (
    do("open_clean", "glass"),
    tried("gauge_glass_inspect", "glass", 40),
    tried("gauge_glass_blowdown", "glass", 45),
)
_UNDER_VALVE = (
    do("adjust", "control"), do("clear", "siphon-1"), do("clear", "siphon-2"), do("adjust", "limit"), *SEALED,
    tried("siphon_check", "siphon-1", 60), tried("siphon_check", "siphon-2", 61),
    tried("operating_control_trip", "control", 65), tried("limit_trip", "limit", 70),
    tried("limit_circuit_trip", "circuit", 75), tried("fuel_valve_closure", "fuel", 80),
    tried("gauge_comparison", "gauge", 85),
)  # fmt: skip
_CAUSE_LIMIT = (
    see("cause_found", "limit", 10), see("cause_found", "control", 10), do("adjust", "control"), do("adjust", "limit"),
    tried("operating_control_trip", "control"), tried("limit_trip", "limit", 50),
)  # fmt: skip
_CAUSE_FLAME = (see("cause_found", "flame", 10), do("replace_part", "flame"), tried("flame_failure_test", "flame", 40))

INCIDENTS = (
    Incident("locked_out_limit", 0.06, ("limit",), (see("lockout_found", "limit"),),
             (do("adjust", "control"), tried("operating_control_trip", "control"), tried("limit_trip", "limit", 50)),
             ("lockout_found",), "locked_out"),
    Incident("locked_out_flame", 0.08, ("flame",), (see("lockout_found", "flame"),), _CAUSE_FLAME, ("lockout_cause",),
             "locked_out"),
    Incident("flame_locks_out_again", 0.02, ("flame",), (see("lockout_found", "flame"),), _CAUSE_FLAME,
             ("lockout_cause", "lockouts_without_cause"), "locked_out", days=(12, 5)),
    Incident("flame_reset_again", 0.03, ("flame",),
             (see("reset_pressed", "flame", 5), see("reset_pressed", "flame", 30)), _CAUSE_FLAME, ("resets_flame",)),
    Incident("limit_reset_again", 0.02, ("limit",),
             (see("reset_pressed", "limit", 5), see("reset_pressed", "limit", 40)), _CAUSE_LIMIT,
             ("resets_without_cause",)),
    Incident("jumper", 0.03, ("limit",), (see("jumper_found", "limit"),),
             (do("jumper_removed", "limit"), tried("limit_trip", "limit")), ("jumper_found",)),
    Incident("gas_smell", 0.01, ("cock",), (see("gas_smell"), do("shut_fuel", "cock")),
             (do("tighten", "cock"), tried("soap_test", "cock")), ("people_in_danger",)),
    Incident("alarm_sounds", 0.015, ("alarm", "burner"), (see("alarm_sounding", "alarm"),),
             (do("burner_service", "burner"), do("tune", "burner"), do("replace_part", "alarm"),
              tried("combustion_test", "burner"), tried("co_alarm_test", "alarm", 50)), ("ambient_co",)),
    Incident("vent_blocked_and_alarm", 0.006, ("alarm", "vent", "burner"),
             (see("vent_blocked", "vent"), see("alarm_sounding", "alarm", 6)),
             (do("clear_opening", "vent"), do("tighten", "vent"), do("tune", "burner"), do("replace_part", "alarm"),
              tried("vent_inspection", "vent"), tried("combustion_test", "burner", 50),
              tried("co_alarm_test", "alarm", 55)), ("vent_loose", "ambient_co", "air_or_vent_with_co")),
    Incident("air_blocked", 0.02, ("air",), (see("air_blocked", "air"),),
             (do("clear_opening", "air"), tried("combustion_air_check", "air")), ("combustion_air_blocked",),
             left="on_call"),
    Incident("spill_tripped", 0.02, ("spill",), (see("spill_found_tripped", "spill"),),
             (see("cause_found", "spill", 10), do("adjust", "spill"), tried("spill_switch_trip", "spill")),
             ("spill_tripped_found",), "locked_out"),
    Incident("glass_empty_cold", 0.015, ("body", "feeder"), (see("glass_empty", burner_firing=False),),
             (see("cause_found"), *_DRIES), ("glass_empty_off",), "off"),
    Incident("glass_empty_hot", 0.004, ("body", "feeder"), (see("glass_empty", burner_firing=True),),
             (do("repair", "upper"), do("repair", "lower"), *_DRIES),
             ("glass_empty_firing", "cutoff_below_trip", "low_not_feeding"), "firing"),
    Incident("fired_dry", 0.004, ("body",), (see("dry_fired"),),
             (do("repair", "body"), tried("internal_inspection", "body", 35)), ("dry_fired",), papers="inspector"),
    Incident("water_under_trip", 0.006, ("upper",), (see("level_below_trip", "upper", burner_firing=True),),
             (do("repair", "upper"), *DRAINS), ("cutoff_below_trip",), "firing"),
    Incident("glass_full", 0.03, ("glass",), (see("glass_full", "glass"),),
             (do("adjust", "feeder"), tried("gauge_glass_blowdown", "glass"), tried("feeder_check", "feeder", 50)),
             ("glass_full",), left="on_call"),
    Incident("glass_stays_full", 0.006, ("glass",), (see("glass_full", "glass"), see("glass_stays_full", "glass", 25)),
             (do("repair", "feeder"), tried("gauge_glass_blowdown", "glass"), tried("feeder_check", "feeder", 50)),
             ("glass_full", "glass_full_stays")),
    Incident("glass_broken", 0.03, ("glass",), (see("glass_broken", "glass"),), _GLASS, ("glass_unreadable",),
             by="caretaker"),
    Incident("feeding_idle", 0.03, ("feeder",), (see("feeding_above_normal", "feeder", burner_firing=False),),
             (do("repair", "feeder"), tried("feeder_check", "feeder")), ("feeding_burner_off",), "off",
             left="on_call"),
    Incident("feeding_firing", 0.02, ("feeder",), (see("feeding_above_normal", "feeder", burner_firing=True),),
             (do("repair", "feeder"), tried("feeder_check", "feeder")), ("feeding_burner_on",), "firing",
             left="on_call"),
    Incident("low_water", 0.02, ("feeder",), (see("not_feeding_low", "feeder"),),
             (do("repair", "feeder"), tried("feeder_check", "feeder")), ("low_not_feeding",)),
    Incident("fuel_burned_on", 0.006, ("circuit",), (see("switch_opened_fuel_burned", "limit", burner_firing=True),),
             (do("rewire", "circuit"), do("repair", "limit"), tried("limit_circuit_trip", "circuit"),
              tried("limit_trip", "limit", 50), tried("flame_failure_test", "flame", 55)), ("output_path_failed",),
             "firing"),
    Incident("gauge_at_zero", 0.02, ("gauge",), (see("gauge_zero_steaming", "gauge", burner_firing=True),),
             (do("clear", "siphon-1"), do("clear", "siphon-2"), tried("siphon_check", "siphon-1", 30),
              tried("siphon_check", "siphon-2", 31), tried("operating_control_trip", "control"),
              tried("limit_trip", "limit", 50), tried("gauge_comparison", "gauge", 60)),
             ("gauge_zero_with_steam",), "firing"),
    Incident("valve_opened", 0.01, ("valve", "circuit", "fuel"), (see("valve_opened_under_pressure", "valve"),),
             _UNDER_VALVE, ("valve_opened", "presumed_by_valve")),
    Incident("valve_tied_down", 0.006, ("valve",), (see("valve_blocked", "valve"),),
             (do("clear_opening", "valve"), tried("lever_lift", "valve")), ("valve_blocked",)),
    Incident("tag_of_inspector", 0.015, ("limit",), (see("tag_found_inspector"),), (see("tag_lifted_inspector"),),
             ("tag_inspector",), by="inspector", papers="inspector"),
    Incident("tag_of_utility", 0.01, ("cock",), (see("tag_found_utility"), do("shut_fuel", "cock")),
             (see("tag_lifted_utility"),), ("tag_utility",), papers="utility"),
    Incident("gauge_and_siphon_disagree", 0.01, ("gauge",),
             (see("gauge_zero_steaming", "gauge", burner_firing=True), tried("siphon_check", "siphon-1", 20)),
             (see("cause_found", "gauge", 5), see("cause_found", "siphon-1", 5), see("cause_found", "siphon-2", 5),
              do("clear", "siphon-1"), do("clear", "siphon-2"), do("replace_part", "gauge"),
              tried("siphon_check", "siphon-1", 30), tried("siphon_check", "siphon-2", 31),
              tried("operating_control_trip", "control"), tried("limit_trip", "limit", 50),
              tried("gauge_comparison", "gauge", 60)),
             ("contradiction", "gauge_zero_with_steam"), "firing"),
)  # fmt: skip

BY_CODE = {i.code: i for i in INCIDENTS}
