"""The findings that code raises by name; each has a row in findings.csv, which says what the finding is."""

from enum import StrEnum
from uuid import UUID


class FindingCode(StrEnum):
    """A finding that a grader, an observation, a history of entries or the data raise by name.

    So is one that code tells from others. Findings that only the catalogue names (a reading's, an observation's) have
    no member here. Loading a catalogue fails while a member has no row.
    """

    FLUSH_NO_WATER = "flush_no_water"
    FLUSH_KEEPS_FIRING = "flush_keeps_firing"
    FLUSH_SLOW_RECOVERY = "flush_slow_recovery"
    FLUSH_DIRTY = "flush_dirty"
    LOWERING_NO_TRIP = "lowering_no_trip"
    LOWERING_TOO_LOW = "lowering_too_low"
    LOWERING_OUT_OF_ORDER = "lowering_out_of_order"
    LOWER_CUTOFF_RESTARTS = "lower_cutoff_restarts"
    OPERATING_CONTROL_FAILED = "operating_control_failed"
    LIMIT_FAILED = "limit_failed"
    LIMIT_RESTARTS = "limit_restarts"
    VALVE_NO_LIFT = "valve_no_lift"
    VALVE_BLOCKED = "valve_blocked"
    VALVE_WRONG = "valve_wrong"
    VALVE_DRIPS = "valve_drips"
    VALVE_DRIPS_AGAIN = "valve_drips_again"
    SIPHON_PLUGGED = "siphon_plugged"
    CHAMBER_FOULED = "chamber_fouled"
    TEST_FAILED = "test_failed"
    LOCKOUT_FOUND = "lockout_found"
    LOCKOUT_CAUSE = "lockout_cause"
    PEOPLE_IN_DANGER = "people_in_danger"
    AMBIENT_CO = "ambient_co"
    AMBIENT_CO_RAISED = "ambient_co_raised"
    GLASS_EMPTY_FIRING = "glass_empty_firing"
    GLASS_EMPTY_OFF = "glass_empty_off"
    CUTOFF_BELOW_TRIP = "cutoff_below_trip"
    GLASS_UNREADABLE = "glass_unreadable"
    FEEDING_BURNER_OFF = "feeding_burner_off"
    FEEDING_BURNER_ON = "feeding_burner_on"
    LOW_NOT_FEEDING = "low_not_feeding"
    SPILL_TRIPPED_FOUND = "spill_tripped_found"
    FLUE_GAS_SPILLS = "flue_gas_spills"
    ROUGH_LIGHT_OFF = "rough_light_off"
    RESETS_WITHOUT_CAUSE = "resets_without_cause"
    RESETS_FLAME = "resets_flame"
    OUTPUT_PATH_FAILED = "output_path_failed"
    GAUGE_ZERO_WITH_STEAM = "gauge_zero_with_steam"
    GAUGE_RANGE = "gauge_range"
    GAUGE_OFF = "gauge_off"
    CONTROL_OVERRUN = "control_overrun"
    LIMIT_OVERRUN = "limit_overrun"
    PRESSURE_OVER_VALVE = "pressure_over_valve"
    VALVE_DID_NOT_OPEN = "valve_did_not_open"
    RESET_UNQUALIFIED = "reset_unqualified"
    FLOODED = "flooded"
    VENT_BLOCKED = "vent_blocked"
    DRY_FIRED = "dry_fired"
    JUMPER_LEFT = "jumper_left"
    FIRING_WHILE_OFF = "firing_while_off"
    WATER_CARRIED_OVER = "water_carried_over"
    WATER_SURGING = "water_surging"
    WATER_HAMMER = "water_hammer"
    STEAM_WITHOUT_HEAT = "steam_without_heat"
    ROOM_FLOODED = "room_flooded"
    TROUBLE_TOLD = "trouble_told"
    SOOT_SEEN = "soot_seen"
    SOOT_WITH_FLUE_GAS = "soot_with_flue_gas"
    PAST_SERVICE_LIFE = "past_service_life"
    GLASS_FULL = "glass_full"
    VALVE_OPENED = "valve_opened"
    PRESUMED_BY_VALVE = "presumed_by_valve"
    SET_PRESSURE_UNPROVEN = "set_pressure_unproven"
    VALVE_OVER_FIFTEEN = "valve_over_fifteen"
    CAPACITY_SHORT = "capacity_short"
    CAPACITY_UNKNOWN = "capacity_unknown"
    LADDER_OVER_FIFTEEN = "ladder_over_fifteen"
    LADDER_LIMIT_AT_VALVE = "ladder_limit_at_valve"
    LADDER_LIMIT_AT_CUT_OUT = "ladder_limit_at_cut_out"
    LADDER_CUT_IN = "ladder_cut_in"
    LADDER_LIMIT_GAP = "ladder_limit_gap"
    LADDER_OPERATING_GAP = "ladder_operating_gap"
    CUTOFFS_IN_ONE_CHAMBER = "cutoffs_in_one_chamber"
    CO_HIGH = "co_high"
    CO_ADJUST = "co_adjust"
    BURNER_ADJUST = "burner_adjust"
    OVER_FIRED = "over_fired"
    ALARM_OUT_OF_DATE = "alarm_out_of_date"
    NOT_FITTED = "not_fitted"
    NOT_FITTED_LAST_LINE = "not_fitted_last_line"
    NOT_ON_RECORD = "not_on_record"
    COMBUSTION_AIR_BLOCKED = "combustion_air_blocked"
    VENT_LOOSE = "vent_loose"
    AIR_OR_VENT_WITH_CO = "air_or_vent_with_co"
    MAKEUP_RISING = "makeup_rising"
    MAKEUP_RISING_AGAIN = "makeup_rising_again"
    LOCKOUTS_WITHOUT_CAUSE = "lockouts_without_cause"
    REPEAT_ROUTINE = "repeat_routine"
    REPEAT_URGENT = "repeat_urgent"
    CONTRADICTION = "contradiction"


# Of the boiler as a whole, whoever finds them and wherever: no device of it is accused.
WHOLE_BOILER_FINDINGS = frozenset(
    {
        FindingCode.WATER_CARRIED_OVER,
        FindingCode.WATER_SURGING,
        FindingCode.WATER_HAMMER,
        FindingCode.STEAM_WITHOUT_HEAT,
        FindingCode.ROOM_FLOODED,
    }
)


def ends_by_word_alone(rule_code: str, position: UUID | None) -> bool:
    """Return whether no test closes an episode: jumpers that nobody placed end by a leaving check."""
    return rule_code == FindingCode.JUMPER_LEFT and position is None
