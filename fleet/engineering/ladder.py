"""The pressure ladder: cut-in < cut-out < high limit < safety valve <= 15 psig, with room between the rungs.

Source: published values section 3 (HG-605, CW-310 from memory; trade practice); classes by the table of findings.
"""

from dataclasses import dataclass

from fleet.engineering.checks import Impossible, Range, require
from fleet.engineering.verdicts import LEVELS, EngineeringJudgement, EngineeringReason, judge_reasons

MAX_STEAM_PSI = 15.0  # MAWP of a low-pressure steam boiler (COMAR 09.12.01.10)
LIMIT_UNDER_VALVE_PSI = 2.0
CONTROL_UNDER_VALVE_PSI = 5.0  # operating gap, valve practice for set pressures up to 70 psi
MIN_GAUGE_TOP_PSI, MAX_GAUGE_TOP_PSI = 30.0, 60.0  # S5, S12, S13; the upper one HG-602(a), from memory

SET_PSI = Range("psi", -14.7, 300, why="a set point lies between a vacuum and what any control of steam heat reaches")
DIFFERENTIAL_PSI = Range("psi", 0, 300, why="a differential is never negative")
GAUGE_PSI = Range("psi", 0, 10_000, low_in=False, why="a gauge has a range")
NEAR_PSI, NEAR_SHARE = 0.5, 0.2  # operating control's trip against its set point: domain, section 4
CONTROL_UNDER_LIMIT_PSI = 1.0
LIMIT_NEAR_PSI = 1.0
SENSE_NEAR_PSI = 0.25  # two readings of a gauge closer than this count as equal: our choice


@dataclass(frozen=True, slots=True)
class Ladder:
    """Set points in psig; None where unknown."""

    cut_in_psi: float | None = None
    cut_out_psi: float | None = None
    limit_psi: float | None = None
    valve_psi: float | None = None


LadderFault = EngineeringReason  # one fault of a ladder: its class (hold, urgent, routine) and a sentence


def cut_out(main_psi: float, differential_psi: float, sense: str) -> float:
    """Return the cut-out in psig of a control set at `main_psi` with `differential_psi` (both >= 0).

    An additive control has its scale at cut-in, a subtractive one at cut-out. Impossible for any other sense, or for
    numbers that cannot be.
    """
    require(SET_PSI.faults("main_psi", main_psi), DIFFERENTIAL_PSI.faults("differential_psi", differential_psi))
    if sense == "additive":
        return main_psi + differential_psi
    if sense == "subtractive":
        return main_psi
    raise Impossible("unknown_choice", f"a differential is additive or subtractive, not {sense!r}", ("sense",))


def cut_in(main_psi: float, differential_psi: float, sense: str) -> float:
    """Return the cut-in in psig of the same control; limits as for `cut_out`."""
    return cut_out(main_psi, differential_psi, sense) - differential_psi


def find_ladder_faults(ladder: Ladder) -> list[LadderFault]:
    """Return all faults of the ladder, worst first. Unknown rungs are not compared."""
    ladder_faults = [
        *_faults_over_fifteen(ladder),
        *_faults_of_limit_at_valve(ladder),
        *_faults_of_order(ladder),
        *_faults_of_gaps(ladder),
    ]
    return sorted(ladder_faults, key=lambda f: LEVELS.index(f.level))


def _faults_over_fifteen(ladder: Ladder) -> list[LadderFault]:
    rungs = (("cut-out", ladder.cut_out_psi), ("high limit", ladder.limit_psi), ("safety valve", ladder.valve_psi))
    over = [(name, psi) for name, psi in rungs if psi is not None and psi > MAX_STEAM_PSI]
    return [
        LadderFault("ladder_over_fifteen", "hold", f"The {n} is set at {p:g} psi, over {MAX_STEAM_PSI:g}.")
        for n, p in over
    ]


def _faults_of_limit_at_valve(ladder: Ladder) -> list[LadderFault]:
    if ladder.limit_psi is None or ladder.valve_psi is None or ladder.limit_psi < ladder.valve_psi:
        return []
    sentence = f"The high limit at {ladder.limit_psi:g} psi is not under the safety valve at {ladder.valve_psi:g} psi."
    return [LadderFault("ladder_limit_at_valve", "hold", sentence)]


def _faults_of_order(ladder: Ladder) -> list[LadderFault]:
    order_faults = []
    if ladder.limit_psi is not None and ladder.cut_out_psi is not None and ladder.limit_psi <= ladder.cut_out_psi:
        sentence = f"The high limit at {ladder.limit_psi:g} psi is not above the cut-out at {ladder.cut_out_psi:g} psi."
        order_faults.append(LadderFault("ladder_limit_at_cut_out", "urgent", sentence))
    if ladder.cut_in_psi is not None and ladder.cut_out_psi is not None and ladder.cut_in_psi >= ladder.cut_out_psi:
        sentence = f"The cut-in at {ladder.cut_in_psi:g} psi is not below the cut-out at {ladder.cut_out_psi:g} psi."
        order_faults.append(LadderFault("ladder_cut_in", "urgent", sentence))
    return order_faults


def _faults_of_gaps(ladder: Ladder) -> list[LadderFault]:
    valve, gap_faults = ladder.valve_psi, []
    if valve is None:
        return []
    if ladder.limit_psi is not None and 0 < valve - ladder.limit_psi < LIMIT_UNDER_VALVE_PSI:
        gap = valve - ladder.limit_psi
        sentence = f"Only {gap:g} psi lie between high limit and safety valve: at least {LIMIT_UNDER_VALVE_PSI:g}."
        gap_faults.append(LadderFault("ladder_limit_gap", "urgent", sentence))
    if ladder.cut_out_psi is not None and valve - ladder.cut_out_psi < CONTROL_UNDER_VALVE_PSI:
        gap = valve - ladder.cut_out_psi
        sentence = f"Only {gap:g} psi lie between cut-out and safety valve: at least {CONTROL_UNDER_VALVE_PSI:g}."
        gap_faults.append(LadderFault("ladder_operating_gap", "routine", sentence))
    return gap_faults


def judge_ladder(ladder: Ladder, gauge_top_psi: float | None = None) -> EngineeringJudgement:
    """Return the verdict on a ladder and the gauge beside it, all in psig, with every reason; unknown rungs are named.

    A dangerous ladder is answered (*hold*), never refused. Impossible for NaN, set points under a vacuum or over 300.
    """
    rungs = {name: getattr(ladder, name) for name in Ladder.__slots__}
    rung_faults = [SET_PSI.faults(name, psi) for name, psi in rungs.items() if psi is not None]
    require(*rung_faults, [] if gauge_top_psi is None else GAUGE_PSI.faults("gauge_top_psi", gauge_top_psi))
    unknown = [name for name, psi in rungs.items() if psi is None]
    return judge_reasons(
        [*find_ladder_faults(ladder), *_faults_below_zero(ladder), *faults_of_gauge(gauge_top_psi)], unknown
    )


def faults_of_gauge(top_psi: float | None) -> list[LadderFault]:
    """Return the faults of a gauge that reads to `top_psi` (30 to 60 is right). Empty where it is not known."""
    if top_psi is None or MIN_GAUGE_TOP_PSI <= top_psi <= MAX_GAUGE_TOP_PSI:
        return []
    sentence = f"The gauge reads to {top_psi:g} psi: {MIN_GAUGE_TOP_PSI:g} to {MAX_GAUGE_TOP_PSI:g} is right."
    return [LadderFault("gauge_range", "routine", sentence)]


def sense_from_readings(main_psi: float, differential_psi: float, seen_in_psi: float, seen_out_psi: float) -> str:
    """Return the sense of a control that fits its scale and its observed cut-in and cut-out (psig).

    *additive*, *subtractive*, *neither* or *either*: a control entered as the other kind is a common error of data.
    """
    require(
        SET_PSI.faults("main_psi", main_psi),
        DIFFERENTIAL_PSI.faults("differential_psi", differential_psi),
        SET_PSI.faults("seen_in_psi", seen_in_psi),
        SET_PSI.faults("seen_out_psi", seen_out_psi),
    )
    near = max(SENSE_NEAR_PSI, differential_psi / 2 - 1e-9)
    fits = [
        sense
        for sense in ("additive", "subtractive")
        if abs(cut_in(main_psi, differential_psi, sense) - seen_in_psi) <= near
        and abs(cut_out(main_psi, differential_psi, sense) - seen_out_psi) <= near
    ]
    return fits[0] if len(fits) == 1 else "either" if fits else "neither"


def grade_control_trip(trip_psi: float, set_psi: float, differential_psi: float, limit_psi: float | None) -> str:
    """Return *good*, *drifted* or *failed* for an operating control that opened at `trip_psi` (all psig).

    Good within the greater of 0.5 psi and 20 % of the differential; failed if not 1 psi under the limit (domain, 4).
    """
    require(
        SET_PSI.faults("trip_psi", trip_psi),
        SET_PSI.faults("set_psi", set_psi),
        DIFFERENTIAL_PSI.faults("differential_psi", differential_psi),
        [] if limit_psi is None else SET_PSI.faults("limit_psi", limit_psi),
    )
    if limit_psi is not None and trip_psi > limit_psi - CONTROL_UNDER_LIMIT_PSI:
        return "failed"
    return "good" if abs(trip_psi - set_psi) <= max(NEAR_PSI, NEAR_SHARE * differential_psi) else "drifted"


def grade_limit_trip(trip_psi: float, set_psi: float, valve_psi: float | None) -> str:
    """Return *good*, *drifted* or *failed* for a high limit that tripped at `trip_psi` (all psig).

    Good within 1 psi of its set point; failed if not 2 psi under the safety valve's set pressure (domain, section 4),
    or not under 15.
    """
    require(
        SET_PSI.faults("trip_psi", trip_psi),
        SET_PSI.faults("set_psi", set_psi),
        [] if valve_psi is None else SET_PSI.faults("valve_psi", valve_psi),
    )
    over = min(MAX_STEAM_PSI, MAX_STEAM_PSI if valve_psi is None else valve_psi - LIMIT_UNDER_VALVE_PSI)
    if trip_psi > over:
        return "failed"
    return "good" if abs(trip_psi - set_psi) <= LIMIT_NEAR_PSI else "drifted"


def _faults_below_zero(ladder: Ladder) -> list[LadderFault]:
    if ladder.cut_in_psi is None or ladder.cut_in_psi >= 0:
        return []
    sentence = f"The cut-in at {ladder.cut_in_psi:g} psi is under zero: is the differential of the other kind?"
    return [LadderFault("ladder_cut_in_below_zero", "routine", sentence)]
