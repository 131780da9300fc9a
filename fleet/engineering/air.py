"""Combustion air: openings and room volume by each published method, for the input of ALL appliances in the space.

Source: NFPA 54 / IFGC as in published values, section 9 (S44, S45; single opening, louvres and air changes from
memory). Appliances that bring their own air from outdoors are left out of the sum.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering.checks import Impossible, Num, Range, faults_of_choice, require
from fleet.engineering.last_places import compare
from fleet.engineering.verdicts import EngineeringJudgement, EngineeringReason, judge_reasons

INPUT_BTU_H = Range("Btu/h", 0, 1e9, low_in=False, why="without a burner no air is needed")
ANY_INPUT_BTU_H = Range("Btu/h", 0, 1e9, why="an input is never negative")
# 20 million Btu/h by the method that asks for most, 1 in2 for each 1000 Btu/h: our choice.
AREA_IN2 = Range("in2", 0, 20_000, low_in=False, why="an opening has an area, and no wall one that large")
ANY_AREA_IN2 = Range("in2", 0, 20_000, why="an area is never negative, and no vent of such a boiler is wider")
VOLUME_FT3 = Range("ft3", 0, 1e8, low_in=False, why="a room has a volume")
ACH = Range("1/h", 0, 100, low_in=False, why="without any air change no air comes in")
SIDE_IN = Range("in", 0, 240, low_in=False, why="an opening has sides, and a wall has no longer ones")

STANDARD_FT3_PER_1000 = 50.0
OTHER_FT3_PER_1000, FAN_FT3_PER_1000, MAX_COUNTED_ACH = 21.0, 15.0, 0.60
LOUVRES = {"none": 1.0, "metal": 0.75, "wood": 0.25}  # free share where the maker's figure is not known, from memory
MIN_SIDE_IN = 3.0


@dataclass(frozen=True, slots=True)
class OpeningMethod:
    """How openings are sized: their number, Btu/h for one in2 of each, the least free area of each in in2."""

    code: str
    title: str
    openings: int
    btu_h_per_in2: float
    least_in2: float = 0.0


METHODS = {
    method.code: method
    for method in (
        OpeningMethod("two_direct", "two openings straight to outdoors", 2, 4000),
        OpeningMethod("two_vertical", "two openings by vertical ducts", 2, 4000),
        OpeningMethod("two_horizontal", "two openings by horizontal ducts", 2, 2000),
        OpeningMethod("one_outdoor", "one opening to outdoors", 1, 3000),
        OpeningMethod("two_indoor", "two openings to indoor space", openings=2, btu_h_per_in2=1000, least_in2=100.0),
    )
}


@dataclass(frozen=True, slots=True)
class OpeningsNeeded:
    """The number of openings, and the free area in in2 that each must have."""

    openings: int
    each_in2: float


def openings_needed(method: str, input_btu_h: float, vent_connectors_in2: float = 0.0) -> OpeningsNeeded:
    """Return the openings a method asks for: total input in Btu/h (over 0) of all appliances in the space.

    `vent_connectors_in2`, the sum of their areas, bounds *one_outdoor* from below and is needed for it. Within 12 in
    of top and bottom, no side under 3 in. Impossible for an unknown method or no input.
    """
    require(
        faults_of_choice("method", method, METHODS),
        INPUT_BTU_H.faults("input_btu_h", input_btu_h),
        ANY_AREA_IN2.faults("vent_connectors_in2", vent_connectors_in2),
    )
    if method == "one_outdoor" and not vent_connectors_in2:
        message = "vent_connectors_in2: one opening must not be smaller than all vent connectors together: their area?"
        raise Impossible("connectors_missing", message, ("vent_connectors_in2",))
    opening_method = METHODS[method]
    least = max(opening_method.least_in2, vent_connectors_in2 if method == "one_outdoor" else 0.0)
    return OpeningsNeeded(opening_method.openings, max(input_btu_h / opening_method.btu_h_per_in2, least))


def room_volume_ft3(input_btu_h: Num) -> Num:
    """Return the room in ft3 that is enough by itself, 50 ft3 per 1000 Btu/h of total input (over 0). Source: S45.

    Not where the house is known to change its air less than 0.40 times an hour (from memory).
    """
    require(INPUT_BTU_H.faults("input_btu_h", input_btu_h))
    return input_btu_h / 1000 * STANDARD_FT3_PER_1000


def room_volume_by_air_changes_ft3(ach: float, other_btu_h: float, fan_btu_h: float = 0.0) -> float:
    """Return the room in ft3 that is enough at `ach` air changes an hour (over 0; counted as 0.60 at most).

    Input in Btu/h of burners without (21 ft3/ACH per 1000) and with fan (15). Impossible where both are nothing.
    """
    require(
        ACH.faults("ach", ach),
        ANY_INPUT_BTU_H.faults("other_btu_h", other_btu_h),
        ANY_INPUT_BTU_H.faults("fan_btu_h", fan_btu_h),
        INPUT_BTU_H.faults("other_btu_h", other_btu_h + fan_btu_h) if _are_valid_inputs(other_btu_h, fan_btu_h) else [],
    )
    volume_at_one_change = OTHER_FT3_PER_1000 * other_btu_h + FAN_FT3_PER_1000 * fan_btu_h
    return volume_at_one_change / 1000 / min(ach, MAX_COUNTED_ACH)


def gross_area_in2(free_in2: Num, louvre: str) -> Num:
    """Return the gross in2 that give a free area in in2 (over 0) behind a louvre: none, metal 75 %, wood 25 % free."""
    require(AREA_IN2.faults("free_in2", free_in2), faults_of_choice("louvre", louvre, LOUVRES))
    return free_in2 / LOUVRES[louvre]


def free_area_in2(width_in: float, height_in: float, louvre: str = "none") -> float:
    """Return the free area in in2 of an opening of so many inches (over 0); 0 where a side is under 3 in."""
    require(
        SIDE_IN.faults("width_in", width_in),
        SIDE_IN.faults("height_in", height_in),
        faults_of_choice("louvre", louvre, LOUVRES),
    )
    return 0.0 if compare(min(width_in, height_in), MIN_SIDE_IN, "in") < 0 else width_in * height_in * LOUVRES[louvre]


def judge_openings(
    method: str, input_btu_h: float, free_in2: Sequence[float], vent_connectors_in2: float = 0.0
) -> EngineeringJudgement:
    """Return urgent where openings of these free areas in in2 (over 0) are too few or small for a method, else good.

    With carbon monoxide or spill it is a hold (domain, section 6); callers that know of these decide it.
    """
    require(AREA_IN2.faults_of_each("free_in2", free_in2))
    requirement = openings_needed(method, input_btu_h, vent_connectors_in2)
    enough = [area for area in free_in2 if compare(area, requirement.each_in2, "in2") >= 0]
    if len(enough) >= requirement.openings:
        return judge_reasons([])
    sentence = (
        f"{len(enough)} of {requirement.openings} openings have the {requirement.each_in2:g} in2 that are needed."
    )
    return judge_reasons([EngineeringReason("combustion_air_short", "urgent", sentence)])


def judge_room(volume_ft3: float, input_btu_h: float) -> EngineeringJudgement:
    """Return good where a room in ft3 (over 0) is enough by itself by the standard method, else urgent."""
    require(VOLUME_FT3.faults("volume_ft3", volume_ft3))
    needed_ft3 = room_volume_ft3(input_btu_h)
    if compare(volume_ft3, needed_ft3, "ft3") >= 0:
        return judge_reasons([])
    sentence = f"The room has {volume_ft3:g} ft3 of the {needed_ft3:g} that are enough without openings."
    return judge_reasons([EngineeringReason("combustion_air_short", "urgent", sentence)])


def _are_valid_inputs(*values: object) -> bool:
    """Return whether all are valid inputs that can be added. Faults of single inputs are reported separately."""
    return all(not ANY_INPUT_BTU_H.faults("", value) for value in values)
