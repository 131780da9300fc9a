"""Incidents of the boiler room: light-off, flue gas, water on the floor, resets, and pressures that were seen."""

from fleet.management.town.incident_form import Incident
from fleet.management.town.town_lines import action_line, observe_line, proof_line

_RELIT = (
    action_line("tune", "burner"),
    proof_line("flame_failure_test", "flame", 35),
    proof_line("normal_restart", "burner"),
    proof_line("combustion_test", "burner", 50),
)
_LIMIT_AGAIN = (
    observe_line("cause_found", "limit", 10),
    action_line("adjust", "control"),
    proof_line("operating_control_trip", "control"),
    proof_line("limit_trip", "limit", 50),
)

ROOM_INCIDENTS = (
    Incident(
        "bang_at_light_off",
        0.03,
        needs=("burner", "flame"),
        found_lines=(observe_line("light_off_bang"),),
        repair_lines=(observe_line("cause_found", "burner", 10), *_RELIT),
        rules=("light_off_bang",),
    ),
    Incident(
        "puff_at_light_off",
        0.02,
        needs=("burner", "flame"),
        found_lines=(observe_line("light_off_puff"),),
        repair_lines=_RELIT,
        rules=("rough_light_off",),
    ),
    Incident(
        "spills_on",
        0.02,
        needs=("vent", "draft"),
        found_lines=(observe_line("spilling_after_five_minutes"),),
        repair_lines=(
            action_line("clear_opening", "vent"),
            action_line("adjust", "draft"),
            proof_line("vent_inspection", "vent"),
            proof_line("draft_reading", "draft", 50),
        ),
        rules=("flue_gas_spills",),
    ),
    Incident(
        "draft_called_poor",
        0.02,
        needs=("draft",),
        found_lines=(proof_line("draft_reading", "draft", 10, "fail"),),
        repair_lines=(action_line("adjust", "draft"), proof_line("draft_reading", "draft")),
        rules=("draft_failed",),
        left_as="on_call",
    ),
    Incident(
        "room_flooded",
        0.01,
        needs=("flame", "fuel", "circuit", "limit"),
        found_lines=(observe_line("flooded"),),
        repair_lines=(
            action_line("repair", "flame"),
            action_line("rewire", "circuit"),
            proof_line("flame_failure_test", "flame", 35),
            proof_line("fuel_valve_closure", "fuel"),
            proof_line("limit_circuit_trip", "circuit", 45),
            proof_line("limit_trip", "limit", 50),
            proof_line("slow_drain", "lower", 60),
            proof_line("slow_drain", "upper", 70),
        ),
        rules=("flooded",),
    ),
    Incident(
        "reset_by_a_tenant",
        0.02,
        needs=("limit",),
        found_lines=(action_line("reset", "limit", 3),),
        repair_lines=_LIMIT_AGAIN,
        rules=("reset_unqualified",),
        by="caretaker",
    ),
    Incident(
        "jumper_forgotten",
        0.01,
        needs=("limit",),
        found_lines=(action_line("jumper_fitted", "limit", 5),),
        repair_lines=(action_line("jumper_removed", "limit"), proof_line("limit_trip", "limit")),
        rules=("jumper_left",),
        by="caretaker",
    ),
    Incident(
        "pressure_over_cut_out",
        0.03,
        needs=("gauge", "control"),
        found_lines=(proof_line("pressure_observation", "gauge", 4, gauge_psi=4.5, burner_firing=True),),
        repair_lines=(action_line("adjust", "control"), proof_line("operating_control_trip", "control")),
        rules=("control_overrun",),
        by="caretaker",
        arrival="firing",
    ),
    Incident(
        "pressure_over_limit",
        0.01,
        needs=("gauge", "control", "limit"),
        found_lines=(proof_line("pressure_observation", "gauge", 4, gauge_psi=12.5, burner_firing=True),),
        repair_lines=_LIMIT_AGAIN,
        rules=("control_overrun", "limit_overrun"),
        by="caretaker",
        arrival="firing",
    ),
    Incident(
        "pressure_over_valve",
        0.01,
        needs=("gauge", "control", "limit", "valve"),
        found_lines=(proof_line("pressure_observation", "gauge", 4, gauge_psi=15.8, burner_firing=True),),
        repair_lines=(
            *_LIMIT_AGAIN,
            action_line("replace_part", "valve"),
            proof_line("valve_shop_test", "valve", 60),
            proof_line("lever_lift", "valve", 70),
        ),
        rules=("control_overrun", "limit_overrun", "pressure_over_valve"),
        by="caretaker",
        arrival="firing",
    ),
)
