"""The calculations as people are offered them: in groups, with faults named by the inputs given."""

from collections.abc import Mapping

from fleet.engineering.calculations import CALCULATIONS, CalculationResult, run_calculation
from fleet.engineering.table.definitions import CalculationSpec
from fleet.errors import Fault, Refused

MAX_LIST_LENGTH = 400  # more than one reading a day for a year; bounds the work of one request

GROUPS: dict[str, tuple[str, ...]] = {
    "Steam": ("steam_at_gauge", "pressure_at_boiling", "atmosphere"),
    "Pressure ladder and trips": ("ladder", "control_set_points", "control_sense", "control_trip", "limit_trip"),
    "Relief capacity": ("relief_margin", "stamp_plausible"),
    "Water": ("water_times", "level_fall", "cutoff_trip", "evaporation", "inch_of_water", "column"),
    "Make-up": ("meter_use", "makeup_change", "makeup_per_degree_day", "makeup_share"),
    "Flue gas": (
        "flue_gas",
        "co_verdict",
        "co_air_free",
        "co_in_room",
        "smoke",
        "stack_limit",
        "stack_trend",
        "dilution",
        "siegert",
        "siegert_by_co2",
        "fuel_saved",
    ),
    "Input": ("gas_input", "gas_factor", "oil_input"),
    "Combustion air": (
        "air_openings",
        "air_openings_verdict",
        "air_free_area",
        "air_gross_area",
        "air_room",
        "air_room_by_changes",
    ),
    "Ratings": ("rating", "pick_up", "condensate"),
    "Units": ("convert",),
}
GROUP_OF = {code: group for group, codes in GROUPS.items() for code in codes}


def calculations_by_group() -> dict[str, list[CalculationSpec]]:
    """Return all calculations under their groups' names, in the order they are offered in."""
    return {group: [CALCULATIONS[code] for code in codes] for group, codes in GROUPS.items()}


def answer_calculation(code: str, inputs: Mapping[str, object]) -> CalculationResult:
    """Return what `run_calculation` does, with bounded lists. Raises Refused as it does.

    Each fault names an input of the caller or the whole: a formula may name a quantity of its own, such as the absolute
    pressure for a gauge pressure.
    """
    input_names = {i.name for i in CALCULATIONS[code].inputs} if code in CALCULATIONS else set()
    too_long = [name for name, value in inputs.items() if isinstance(value, list) and len(value) > MAX_LIST_LENGTH]
    if too_long:
        message = f"At most {MAX_LIST_LENGTH} in a list."
        raise Refused.from_faults([Fault("too_many", f"{name}: {message}", (name,)) for name in too_long])
    try:
        return run_calculation(code, inputs)
    except Refused as refused:
        known_names = {*input_names, *inputs, "code"}
        faults = [f if f.at and f.at[0] in known_names else Fault(f.code, f.message) for f in refused.faults]
        raise Refused.from_faults(faults, refused.status) from None
