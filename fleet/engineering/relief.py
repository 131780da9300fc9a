"""Relief capacity: what the valves' stamps give against what the boiler can make.

Source: HG-400.1(d) as quoted in S2: lb/h >= output at the nozzle in Btu/h / 1000; the older greater-of rule with the
heating-surface table in S7, S10, S11. In service the stamp counts, never a formula.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering.checks import Impossible, Range, faults_of_choice, require
from fleet.engineering.last_places import compare
from fleet.engineering.verdicts import EngineeringJudgement, EngineeringReason, judge_reasons

BTU_H_PER_LB_H = 1000.0  # do not replace by the heat of evaporation: the 5 psi accumulation rule covers the difference
SURFACE_LB_H_FT2 = {  # S7; New York agrees on firetube and watertube (S4)
    ("hand", "firetube"): 5.0,
    ("hand", "watertube"): 6.0,
    ("stoker", "firetube"): 7.0,
    ("stoker", "watertube"): 8.0,
    ("oil_gas", "firetube"): 8.0,
    ("oil_gas", "watertube"): 10.0,
}
FIRINGS = tuple(dict.fromkeys(firing for firing, _ in SURFACE_LB_H_FT2))
KINDS = tuple(dict.fromkeys(kind for _, kind in SURFACE_LB_H_FT2))
RULES = ("output_only", "greater_of")  # HG-400.1(d) alone (S2), or with the surface table (S7, S10, S11)

OUTPUT_BTU_H = Range("Btu/h", 0, 1e9, low_in=False, why="a boiler that fires has an output")
SURFACE_FT2 = Range("ft2", 0, 20_000, why="no boiler of steam heat has so much heating surface, nor less than none")
# The largest valve is 4-1/2 in (S7): its bore of 15.9 in2 passes 24,950 lb/h at 34.7 psia (S15, S16).
STAMP_LB_H = Range("lb/h", 0, 25_000, low_in=False, why="the largest valve, 4-1/2 in (S7), passes no more at 15 psi")
AREA_IN2 = Range("in2", 0, 16, low_in=False, why="the bore of the largest valve, 4-1/2 in (S7), has 15.9 in2")
BORE_IN = Range("in", 0, 4.5, low_in=False, why="the largest valve is 4-1/2 in (S7)")
FLOW_PSIA = Range("psia", 24.5, 3000, low_in=False, why="at lower pressure the flow into air is not choked")
COEFFICIENT = Range("", 0, 1, low_in=False, why="no valve passes more than a perfect nozzle")
SET_PSIG = Range("psi", 0, 300, low_in=False, why="a valve opens at some pressure")

NOZZLE_LB_H = 51.5  # in W = 51.5 A P K (S15, S16)
MAX_COEFFICIENT = 0.878  # 0.9 x 0.975 (S15)
OVER_PSI, AIR_PSIA = 5.0, 14.7  # certified 5 psi over set, from memory; the air of the formula
MIN_PLAUSIBLE_SHARE = 0.05  # of what the hole could pass at best; below, a unit or a digit is wrong: our choice


@dataclass(frozen=True, slots=True)
class ReliefCapacity:
    """Required and installed capacity in lb/h; `installed_lb_h` None where a stamp is unknown."""

    required_lb_h: float
    installed_lb_h: float | None

    @property
    def adequate(self) -> bool | None:
        """Whether installed covers required (equal passes); None where a stamp is unknown: unknown is not adequate."""
        return None if self.installed_lb_h is None else compare(self.installed_lb_h, self.required_lb_h, "lb/h") >= 0


def required_lb_h(
    output_btu_h: float, surface_ft2: float = 0.0, firing: str = "oil_gas", kind: str = "firetube"
) -> float:
    """Return the required capacity in lb/h for an output in Btu/h (> 0), by the greater-of rule if a surface is given.

    Impossible for an output or surface that cannot be, or an unknown firing or kind.
    """
    if not 0 < output_btu_h < math.inf or not 0 <= surface_ft2 < math.inf:
        message = f"no such boiler: {output_btu_h} Btu/h, {surface_ft2} ft2"
        raise Impossible("no_such_boiler", message, ("output_btu_h",))
    if (firing, kind) not in SURFACE_LB_H_FT2:
        raise Impossible("unknown_choice", f"no row for {firing!r}, {kind!r}", ("firing",))
    return max(output_btu_h / BTU_H_PER_LB_H, surface_ft2 * SURFACE_LB_H_FT2[firing, kind])


def sum_stamps(required_lb_h: float, stamped_lb_h: Sequence[float | None]) -> ReliefCapacity:
    """Return what is needed in lb/h beside the sum of all stamps; one unknown stamp makes the sum unknown."""
    known_stamps = [stamp for stamp in stamped_lb_h if stamp is not None]
    is_whole = len(known_stamps) == len(stamped_lb_h)
    return ReliefCapacity(required_lb_h, math.fsum(known_stamps) if is_whole else None)


@dataclass(frozen=True, slots=True)
class ReliefMargin:
    """Required and installed lb/h, installed over required (both None where a stamp is unknown), and the verdict."""

    required_lb_h: float
    installed_lb_h: float | None
    ratio: float | None
    judgement: EngineeringJudgement


def relief_margin(
    output_btu_h: float,
    stamped_lb_h: Sequence[float | None],
    rule: str = "output_only",
    surface_ft2: float = 0.0,
    firing: str = "oil_gas",
    kind: str = "firetube",
) -> ReliefMargin:
    """Return the margin by the adopted rule: output in Btu/h (over 0), every valve's stamp in lb/h, None where unknown.

    *greater_of* needs the heating surface in ft2; cast iron goes by output (S11). Hold where short or without valve,
    urgent where a stamp is unknown; equal passes. With an input only, take it for the output: that is the safe side.
    """
    _check_margin(output_btu_h, stamped_lb_h, rule=rule, surface_ft2=surface_ft2, firing=firing, kind=kind)
    required = required_lb_h(output_btu_h, surface_ft2 if rule == "greater_of" else 0.0, firing, kind)
    capacity = sum_stamps(required, stamped_lb_h)
    installed = capacity.installed_lb_h
    known_sum_lb_h = math.fsum(stamp for stamp in stamped_lb_h if stamp is not None)
    ratio = None if installed is None else installed / required
    return ReliefMargin(required, installed, ratio, judge_reasons(_reasons_about_margin(capacity, known_sum_lb_h)))


def nozzle_lb_h(area_in2: float, flow_psia: float, coefficient: float = MAX_COEFFICIENT) -> float:
    """Return the steam in lb/h through a nozzle: area in in2 (over 0), psia (over 24.5, choked), K (over 0 to 1).

    W = 51.5 A P K; a check of plausibility, never a capacity: in service the stamp counts. Source: S15, S16.
    """
    require(
        AREA_IN2.faults("area_in2", area_in2),
        FLOW_PSIA.faults("flow_psia", flow_psia),
        COEFFICIENT.faults("coefficient", coefficient),
    )
    return NOZZLE_LB_H * area_in2 * flow_psia * coefficient


def effective_area_in2(stamp_lb_h: float, flow_psia: float) -> float:
    """Return K times area in in2 that a stamp in lb/h (over 0) at psia (over 24.5) stands for. Source: S17."""
    require(STAMP_LB_H.faults("stamp_lb_h", stamp_lb_h), FLOW_PSIA.faults("flow_psia", flow_psia))
    return stamp_lb_h / (NOZZLE_LB_H * flow_psia)


def judge_stamp(stamp_lb_h: float, bore_in: float, set_psig: float = 15.0) -> EngineeringJudgement:
    """Return urgent for a stamp in lb/h that a bore in inches cannot pass, or passes 20 times over, else good.

    At 5 psi over the set pressure (over 10 psi gauge together) and the greatest K allowed. The bore is the narrowest
    place; the inlet pipe's size bounds it.
    """
    require(
        STAMP_LB_H.faults("stamp_lb_h", stamp_lb_h),
        BORE_IN.faults("bore_in", bore_in),
        SET_PSIG.faults("set_psig", set_psig),
    )
    most = nozzle_lb_h(math.pi / 4 * bore_in**2, set_psig + OVER_PSI + AIR_PSIA)
    if compare(stamp_lb_h, MIN_PLAUSIBLE_SHARE * most, "lb/h") >= 0 and compare(stamp_lb_h, most, "lb/h") <= 0:
        return judge_reasons([])
    sentence = (
        f"A stamp of {stamp_lb_h:g} lb/h does not go with a bore of {bore_in:g} in, which passes {most:.0f} at most"
    )
    return judge_reasons([EngineeringReason("stamp_implausible", "urgent", f"{sentence}: read it again.")])


def _reasons_about_margin(capacity: ReliefCapacity, known_sum_lb_h: float) -> list[EngineeringReason]:
    required, installed = capacity.required_lb_h, capacity.installed_lb_h
    if installed is None:
        sentence = (
            f"A stamped capacity is not known, the others give {known_sum_lb_h:g} of the {required:g} lb/h needed."
        )
        return [EngineeringReason("capacity_unknown", "urgent", sentence)]
    if capacity.adequate:
        return []
    short = f"{1 - installed / required:.2%}"
    sentence = f"The safety valves are stamped for {installed:g} of the {required:g} lb/h needed, {short} short."
    return [EngineeringReason("capacity_short", "hold", sentence)]


def _check_margin(
    output_btu_h: float, stamped_lb_h: Sequence[float | None], rule: str, surface_ft2: float, firing: str, kind: str
) -> None:
    stamps = [(index, stamp) for index, stamp in enumerate(stamped_lb_h) if stamp is not None]
    require(
        OUTPUT_BTU_H.faults("output_btu_h", output_btu_h),
        *(STAMP_LB_H.faults("stamped_lb_h", stamp, ("stamped_lb_h", index)) for index, stamp in stamps),
        faults_of_choice("rule", rule, RULES),
        SURFACE_FT2.faults("surface_ft2", surface_ft2),
        faults_of_choice("firing", firing, FIRINGS),
        faults_of_choice("kind", kind, KINDS),
    )
    if rule == "greater_of" and not surface_ft2:
        message = "surface_ft2: the rule with the surface table needs the heating surface."
        raise Impossible("surface_missing", message, ("surface_ft2",))
