"""What releases loaded before findings.csv had these columns are read as: their judgements must not change.

An installation keeps each release as it was loaded, without the columns. This table is closed: a later change of a
finding is a cell of findings.csv, in a release of its own.
"""

from collections.abc import Mapping

FLAGS_BEFORE_COLUMNS: Mapping[str, frozenset[str]] = {
    "needs_cause": frozenset(
        {
            "lockout_cause",
            "glass_empty_off",
            "resets_without_cause",
            "resets_flame",
            "lockouts_without_cause",
            "repeat_routine",
            "repeat_urgent",
            "contradiction",
        }
    ),
    "needs_manager": frozenset({"repeat_routine", "repeat_urgent"}),
    "needs_work": frozenset({"capacity_unknown"}),
    "closes_by_readings": frozenset({"makeup_rising", "makeup_rising_again"}),
    "tested_in_place": frozenset({"repeat_routine", "repeat_urgent", "contradiction"}),
    "closes_unneeded": frozenset({"not_fitted", "not_fitted_last_line"}),
    "recurs": frozenset(
        {
            "flush_dirty",
            "probe_scaled",
            "resets_without_cause",
            "resets_flame",
            "co_adjust",
            "makeup_rising",
            "makeup_rising_again",
            "lockouts_without_cause",
            "repeat_routine",
            "repeat_urgent",
            "contradiction",
        }
    ),
    "blinds_gauge": frozenset({"siphon_plugged", "gauge_zero_with_steam", "gauge_off"}),
}
JOINS_BEFORE_COLUMNS: Mapping[str, str] = {
    "ambient_co": "flue_gas",
    "spill_tripped_found": "flue_gas",
    "co_high": "flue_gas",
    "combustion_air_blocked": "air_or_vent",
    "vent_loose": "air_or_vent",
}


def with_columns(cells: Mapping[str, str]) -> Mapping[str, str]:
    """Return a row of findings with all its columns; a row that has them already is returned as it is."""
    if "needs_cause" in cells:
        return cells
    code = cells.get("code", "")
    flags = {column: "yes" if code in codes else "no" for column, codes in FLAGS_BEFORE_COLUMNS.items()}
    return {**cells, **flags, "joins": JOINS_BEFORE_COLUMNS.get(code, "")}
