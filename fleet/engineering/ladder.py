"""The pressure ladder: cut-in < cut-out < high limit < safety valve <= 15 psig, with room between the rungs.

Source: published values section 3 (HG-605, CW-310 from memory; trade practice); classes by the table of findings.
"""

from dataclasses import dataclass

from fleet.engineering.checks import Impossible, Range, require
from fleet.engineering.last_places import compare, compare_gap
from fleet.engineering.verdicts import LEVELS, EngineeringJudgement, EngineeringReason, judge_reasons

MAX_STEAM_PSI = 15.0  # MAWP of a low-pressure steam boiler (COMAR 09.12.01.10)
LIMIT_UNDER_VALVE_PSI = 2.0
CONTROL_UNDER_VALVE_PSI = 5.0  # operating gap, valve practice for set pressures up to 70 psi
MIN_GAUGE_TOP_PSI, MAX_GAUGE_TOP_PSI = 30.0, 60.0  # S5, S12, S13; the upper one HG-602(a), from memory

SET_PSI = Range("psi", -14.7, 300, why="a set point lies between a vacuum and what any control of steam heat reaches")
DIFFERENTIAL_PSI = Range("psi", 0, 300, why="a differential is never negative")
GAUGE_PSI = Range("psi", 0, 10_000, low_in=False, why="a gauge has a range")
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


def is_over_fifteen(psi: float) -> bool:
    """Return whether a pressure in psig lies over what a low-pressure steam boiler may ever see (15; S53)."""
    return compare(psi, MAX_STEAM_PSI, "psi") > 0


def _faults_over_fifteen(ladder: Ladder) -> list[LadderFault]:
    rungs = (("cut-out", ladder.cut_out_psi), ("high limit", ladder.limit_psi), ("safety valve", ladder.valve_psi))
    over = [(name, psi) for name, psi in rungs if psi is not None and is_over_fifteen(psi)]
    return [
        LadderFault("ladder_over_fifteen", "hold", f"The {n} is set at {p:g} psi, over {MAX_STEAM_PSI:g}.")
        for n, p in over
    ]


def _faults_of_limit_at_valve(ladder: Ladder) -> list[LadderFault]:
    if not _is_at_or_over(ladder.limit_psi, ladder.valve_psi):
        return []
    sentence = f"The high limit at {ladder.limit_psi:g} psi is not under the safety valve at {ladder.valve_psi:g} psi."
    return [LadderFault("ladder_limit_at_valve", "hold", sentence)]


def _faults_of_order(ladder: Ladder) -> list[LadderFault]:
    order_faults = []
    if _is_at_or_over(ladder.cut_out_psi, ladder.limit_psi):
        sentence = f"The high limit at {ladder.limit_psi:g} psi is not above the cut-out at {ladder.cut_out_psi:g} psi."
        order_faults.append(LadderFault("ladder_limit_at_cut_out", "urgent", sentence))
    if _is_at_or_over(ladder.cut_in_psi, ladder.cut_out_psi):
        sentence = f"The cut-in at {ladder.cut_in_psi:g} psi is not below the cut-out at {ladder.cut_out_psi:g} psi."
        order_faults.append(LadderFault("ladder_cut_in", "urgent", sentence))
    return order_faults


def _is_at_or_over(low_psi: float | None, high_psi: float | None) -> bool:
    """Return whether two rungs, the lower named first, are both known and not in order."""
    return low_psi is not None and high_psi is not None and compare(low_psi, high_psi, "psi") >= 0


def _is_too_close(low_psi: float | None, high_psi: float, gap_psi: float) -> bool:
    return low_psi is not None and compare_gap(low_psi, high_psi, gap_psi, "psi") < 0


def _faults_of_gaps(ladder: Ladder) -> list[LadderFault]:
    valve, gap_faults = ladder.valve_psi, []
    if valve is None:
        return []
    limit, cut_out_psi = ladder.limit_psi, ladder.cut_out_psi
    if limit is not None and _is_too_close(limit, valve, LIMIT_UNDER_VALVE_PSI) and not _is_at_or_over(limit, valve):
        gap = valve - limit
        sentence = f"Only {gap:g} psi lie between high limit and safety valve: at least {LIMIT_UNDER_VALVE_PSI:g}."
        gap_faults.append(LadderFault("ladder_limit_gap", "urgent", sentence))
    if cut_out_psi is not None and _is_too_close(cut_out_psi, valve, CONTROL_UNDER_VALVE_PSI):
        gap = valve - cut_out_psi
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


def faults_of_gauge(top_psi: float | None, most_psi: float = MAX_GAUGE_TOP_PSI) -> list[LadderFault]:
    """Return the faults of a gauge that reads to `top_psi`; 30 to `most_psi` (as adopted, else 60) is right.

    Empty where it is not known.
    """
    is_short = top_psi is not None and compare(top_psi, MIN_GAUGE_TOP_PSI, "psi") < 0
    if top_psi is None or not (is_short or compare(top_psi, most_psi, "psi") > 0):
        return []
    sentence = f"The gauge reads to {top_psi:g} psi: {MIN_GAUGE_TOP_PSI:g} to {most_psi:g} is right."
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


def _faults_below_zero(ladder: Ladder) -> list[LadderFault]:
    if ladder.cut_in_psi is None or compare(ladder.cut_in_psi, 0.0, "psi") >= 0:
        return []
    sentence = f"The cut-in at {ladder.cut_in_psi:g} psi is under zero: is the differential of the other kind?"
    return [LadderFault("ladder_cut_in_below_zero", "routine", sentence)]
