"""Grades of a trip, for the rules and the calculator alike: operating control, high limit, cutoff, lever lift.

*good*; *drifted*: it still protects and is to be adjusted; *failed*: the next rung is not protected. Source: common
practice, but for the 15 psi that no rung of a low-pressure steam boiler may pass (S53) and the bottom of the gauge
glass that a cutoff may not trip below (S8).

Nothing is refused here: what is dangerous or absurd is graded. The doors check that a number is possible.
"""

from dataclasses import dataclass

from fleet.engineering.checks import Range
from fleet.engineering.ladder import LIMIT_UNDER_VALVE_PSI, MAX_STEAM_PSI
from fleet.engineering.last_places import compare, compare_distance

CONTROL_NEAR_PSI, CONTROL_NEAR_SHARE = 0.5, 0.2  # the greater of psi and share of the differential
CONTROL_UNDER_LIMIT_PSI = 1.0
LIMIT_NEAR_PSI = 1.0
LOWERED_NEAR_PSI = 2.0  # how far over its lowered set point a limit may trip and be read right: common practice
READ_BACK_PSI = 0.25  # how close a setting read back must be to the one that was found: our choice
STAY_OFF_MINUTES = 3.0
LEVER_PSI = 5.0  # steam under the disk of a lever lift: ASME VI, from memory, low confidence
CUTOFF_NEAR_IN = 0.5
GLASS_BOTTOM_IN = 0.0

# A gauge glass of a low-pressure boiler is at most some feet long: common practice.
HEIGHT_IN = Range("in", -5, 40, why="no gauge glass of such a boiler reaches that far from its bottom")


@dataclass(frozen=True, slots=True)
class TripGrade:
    """The grade of one trip (good, drifted or failed) and how it came about.

    `why` is the fault's code, '' where it is good. `bound` is the last value that does not fail, and `near` how far off
    is good, in the unit of the trip. `sentences` say what is wrong.
    """

    grade: str
    bound: float
    near: float
    why: str = ""
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CutoffLevels:
    """The heights that a cutoff's trip is held against, in inches over the bottom of the glass; None if not known.

    `reference_in` is the maker's mark, else its first height as left; `lowest_in` the lowest safe line on record;
    `glass_top_in` the highest visible part of the glass; `under_in` and `over_in` the trips of the cutoffs that must
    act after it and before it.
    """

    reference_in: float | None = None
    lowest_in: float | None = None
    glass_top_in: float | None = None
    under_in: float | None = None
    over_in: float | None = None


def lowest_rung_psi(set_psi: float | None) -> float:
    """Return the pressure in psig that a rung guards: as set, and never over 15 whatever is on record (S53)."""
    return MAX_STEAM_PSI if set_psi is None or compare(set_psi, MAX_STEAM_PSI, "psi") > 0 else set_psi


def grade_control_trip(
    trip_psi: float, set_psi: float | None, differential_psi: float | None, limit_psi: float | None
) -> TripGrade:
    """Return the grade of an operating control that opened at `trip_psi`, all in psig, None where not known.

    Failed if not 1 psi under the limit, which is never over 15. Good within the greater of 0.5 psi and 20 % of the
    differential of its set point; without a set point it is held against the limit alone.
    """
    bound = lowest_rung_psi(limit_psi) - CONTROL_UNDER_LIMIT_PSI
    near = max(CONTROL_NEAR_PSI, CONTROL_NEAR_SHARE * (differential_psi or 0.0))
    if compare(trip_psi, bound, "psi") > 0:
        sentence = f"It opened at {trip_psi:g} psi, over the {bound:g} psi that leave the high limit its room."
        return TripGrade("failed", bound, near, "over_bound", sentences=(sentence,))
    return _grade_distance(trip_psi, set_psi, near, unit="psi", bound=bound)


def grade_limit_trip(trip_psi: float, set_psi: float | None, valve_psi: float | None) -> TripGrade:
    """Return the grade of a high limit that tripped at `trip_psi`, all in psig, None where not known.

    Failed if not 2 psi under the safety valve's set pressure, which is never over 15; good within 1 psi of its set
    point.
    """
    bound = lowest_rung_psi(valve_psi) - LIMIT_UNDER_VALVE_PSI
    if compare(trip_psi, bound, "psi") > 0:
        sentence = f"It tripped at {trip_psi:g} psi, over the {bound:g} psi that leave the safety valve its room."
        return TripGrade("failed", bound, LIMIT_NEAR_PSI, "over_bound", sentences=(sentence,))
    return _grade_distance(trip_psi, set_psi, LIMIT_NEAR_PSI, unit="psi", bound=bound)


def grade_cutoff_trip(trip_in: float, levels: CutoffLevels) -> TripGrade:
    """Return the grade of a cutoff that tripped `trip_in` inches over the glass's bottom.

    Failed at or under the bottom of the glass (S8), over its top, under the lowest safe line on record, or out of order
    with the other cutoff. Good within half an inch of `reference_in`, or where no reference is known.
    """
    bound = max(GLASS_BOTTOM_IN, levels.lowest_in if levels.lowest_in is not None else GLASS_BOTTOM_IN)
    failed = next(iter(_cutoff_faults(trip_in, levels)), None)
    if failed is not None:
        why, sentence = failed
        return TripGrade("failed", bound, CUTOFF_NEAR_IN, why, sentences=(sentence,))
    return _grade_distance(trip_in, levels.reference_in, CUTOFF_NEAR_IN, unit="in", bound=bound)


def is_lever_pressure(gauge_psi: float) -> bool:
    """Return whether so many psig under the disk are enough for a lever lift (at least 5; ASME VI, from memory)."""
    return compare(gauge_psi, LEVER_PSI, "psi") >= 0


def has_stayed_off(minutes: float) -> bool:
    """Return whether so many minutes show that a manual reset holds (at least 3; common practice)."""
    return compare(minutes, STAY_OFF_MINUTES, "min") >= 0


def has_fallen(psi_when_checked: float, trip_psi: float, reset_psi: float | None) -> bool:
    """Return whether pressure fell far enough to show that a control stays out: half the trip, or under its reset."""
    is_half = compare(2 * psi_when_checked, trip_psi, "psi") <= 0
    return is_half or (reset_psi is not None and compare(psi_when_checked, reset_psi, "psi") < 0)


def is_read_back(read_psi: float, set_psi: float | None) -> bool:
    """Return whether a setting read back, in psig, is the one on record; true where none is on record."""
    return set_psi is None or compare_distance(read_psi, set_psi, READ_BACK_PSI, "psi") <= 0


def _grade_distance(trip: float, reference: float | None, near: float, *, unit: str, bound: float) -> TripGrade:
    """Return good or drifted by the distance of a trip from where it should be."""
    if reference is None or compare_distance(trip, reference, near, unit) <= 0:
        return TripGrade("good", bound, near)
    sentence = f"It acted at {trip:g} {unit}, more than {near:g} {unit} from {reference:g}: adjust it."
    return TripGrade("drifted", bound, near, "off_reference", sentences=(sentence,))


def _cutoff_faults(trip_in: float, levels: CutoffLevels) -> list[tuple[str, str]]:
    """Return the faults of a trip height, the worst first, each with its code and a sentence."""
    trip_words = f"It tripped at {trip_in:g} in"
    faults = []
    if compare(trip_in, GLASS_BOTTOM_IN, "in") <= 0:
        faults.append(("too_low", f"{trip_words}, where no water is left in the glass."))
    elif levels.lowest_in is not None and compare(trip_in, levels.lowest_in, "in") < 0:
        faults.append(("under_lowest_line", f"{trip_words}, under the lowest safe line at {levels.lowest_in:g} in."))
    if levels.glass_top_in is not None and compare(trip_in, levels.glass_top_in, "in") > 0:
        faults.append(("over_glass", f"{trip_words}, over the top of the glass at {levels.glass_top_in:g} in."))
    if levels.under_in is not None and compare(trip_in, levels.under_in, "in") <= 0:
        faults.append(
            ("out_of_order", f"{trip_words}, not over the cutoff that must act after it, {levels.under_in:g} in.")
        )
    if levels.over_in is not None and compare(levels.over_in, trip_in, "in") <= 0:
        faults.append(
            ("out_of_order", f"{trip_words}, not under the cutoff that must act before it, {levels.over_in:g} in.")
        )
    return faults
