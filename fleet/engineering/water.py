"""Loss of water: evaporation, weight of an inch of level, minutes to the cutoff and to the lowest safe line."""

from dataclasses import dataclass

from fleet.engineering.checks import Impossible, Num, Range, require, require_same_shape
from fleet.engineering.last_places import compare
from fleet.engineering.steam import (
    PSIA,
    WATER_F,
    evaporation_btu_lb,
    liquid_lb_ft3,
    saturation_f,
    vapour_btu_lb,
    water_btu_lb,
    water_lb_ft3,
    water_lb_gal,
)
from fleet.engineering.trips import GLASS_BOTTOM_IN
from fleet.engineering.units import factor
from fleet.engineering.verdicts import EngineeringJudgement, EngineeringReason, judge_reasons

OUTPUT_BTU_H = Range("Btu/h", 0, 1e9, low_in=False, why="a boiler that fires has an output")
SURFACE_FT2 = Range("ft2", 0, 10_000, low_in=False, why="water has a surface")
DROP_IN = Range("in", 0, 600, why="a level falls down")
SHARE = Range("", 0, 1, why="no more comes back than went out")
FEED_GPM = Range("gal/min", 0, 10_000, why="feed runs into the boiler")
LEVEL_IN = Range("in", -40, 40, why="no line of such a boiler lies that far from the bottom of its glass")
ENERGY_BTU = Range("Btu", 0, 1e13, low_in=False, why="no fuel, no steam")
EFFICIENCY = Range("%", 0, 100, low_in=False, why="efficiency is a share")

IN_PER_FT, MINUTES_PER_HOUR = factor("ft", "in"), factor("h", "min")
IN2_PER_FT2 = factor("ft2", "in2")
MIN_UNDER_GLASS_IN = 1.0  # the lowest permissible level under the glass's bottom: HG-603, from memory


@dataclass(frozen=True, slots=True)
class LevelFall:
    """How a level falls: `minutes` is None where it does not fall; water lost in lb/h (below 0: it rises)."""

    minutes: float | None
    net_lb_h: float
    says: str


@dataclass(frozen=True, slots=True)
class LevelFalls:
    """Falls from the normal line to the cutoff and on to the lowest safe line, and the verdict on these heights."""

    to_cutoff: LevelFall
    to_lowest: LevelFall
    judgement: EngineeringJudgement


def evaporation_lb_h(output_btu_h: Num, pressure_psia: Num) -> Num:
    """Return the steam made in lb/h by an output in Btu/h (over 0) at psia, condensate coming back boiling hot.

    Error: that of the heat of evaporation, under 0.1 %. Source: published values, section 8.
    """
    require(OUTPUT_BTU_H.faults("output_btu_h", output_btu_h), PSIA.faults("pressure_psia", pressure_psia))
    require_same_shape(output_btu_h=output_btu_h, pressure_psia=pressure_psia)
    return output_btu_h / evaporation_btu_lb(pressure_psia)


def evaporation_cold_lb_h(output_btu_h: float, pressure_psia: float, feed_f: float) -> float:
    """Return the steam made in lb/h by an output in Btu/h (over 0) at psia when all feed comes in at `feed_f`.

    Impossible for feed hotter than boiling. Source: published values, section 8.
    """
    _check_feed(output_btu_h, pressure_psia, feed_f)
    return output_btu_h / (vapour_btu_lb(pressure_psia) - water_btu_lb(feed_f))


def feed_heat_btu_h(feed_gpm: float, feed_f: float, pressure_psia: float) -> float:
    """Return the heat in Btu/h that takes `feed_gpm` of water at `feed_f` to boiling at psia, before any steam."""
    _check_feed(1.0, pressure_psia, feed_f)
    return feed_lb_h(feed_gpm, feed_f) * (water_btu_lb(saturation_f(pressure_psia)) - water_btu_lb(feed_f))


def feed_lb_h(feed_gpm: float, feed_f: float = 60.0) -> float:
    """Return the flow of feed in lb/h for gal/min (from 0) at a temperature in F (32 to 662)."""
    require(FEED_GPM.faults("feed_gpm", feed_gpm), WATER_F.faults("feed_f", feed_f))
    return feed_gpm * MINUTES_PER_HOUR * water_lb_gal(feed_f)


def steam_made_lb(input_btu: float, efficiency_percent: float, pressure_psia: float) -> float:
    """Return the steam in lb made from fuel in Btu (gross, over 0) at an efficiency in % (over 0 to 100) and psia."""
    require(
        ENERGY_BTU.faults("input_btu", input_btu),
        EFFICIENCY.faults("efficiency_percent", efficiency_percent),
        PSIA.faults("pressure_psia", pressure_psia),
    )
    return input_btu * efficiency_percent / 100 / evaporation_btu_lb(pressure_psia)


def weight_per_inch_lb(surface_ft2: Num, pressure_psia: Num) -> Num:
    """Return the weight in lb of an inch of boiling water over a surface in ft2 (over 0) at psia.

    The surface narrows between the sections of a cast-iron boiler: then it is an upper figure.
    """
    require(SURFACE_FT2.faults("surface_ft2", surface_ft2), PSIA.faults("pressure_psia", pressure_psia))
    require_same_shape(surface_ft2=surface_ft2, pressure_psia=pressure_psia)
    return surface_ft2 / IN_PER_FT * liquid_lb_ft3(pressure_psia)


def gallons_per_inch(surface_ft2: Num) -> Num:
    """Return the volume in gal of an inch of water over a surface in ft2 (over 0), as hot as it is."""
    require(SURFACE_FT2.faults("surface_ft2", surface_ft2))
    return surface_ft2 / IN_PER_FT * factor("ft3", "gal")


def column_in_per_psi(water_f: Num) -> Num:
    """Return the height in inches of a column of water at F (32 to 662) that holds one psi: a wet return's leg."""
    require(WATER_F.faults("water_f", water_f))
    return IN_PER_FT * IN2_PER_FT2 / water_lb_ft3(water_f)


def level_fall(
    drop_in: float,
    surface_ft2: float,
    output_btu_h: float,
    pressure_psia: float,
    return_share: float = 0.0,
    feed_gpm: float = 0.0,
    feed_f: float = 60.0,
) -> LevelFall:
    """Return how long a level takes to fall `drop_in` inches (from 0) over a surface in ft2, at Btu/h and psia.

    `return_share` (0 to 1) of the steam comes back, `feed_gpm` at `feed_f` is fed. *not falling* where these make up
    for it. A surface that narrows on the way down makes it sooner than said; the cooling by cold feed, left out, later.
    In the first minutes from cold nothing has come back: take 0. Source: published values, section 8.
    """
    require(
        DROP_IN.faults("drop_in", drop_in),
        SURFACE_FT2.faults("surface_ft2", surface_ft2),
        OUTPUT_BTU_H.faults("output_btu_h", output_btu_h),
        PSIA.faults("pressure_psia", pressure_psia),
        SHARE.faults("return_share", return_share),
        FEED_GPM.faults("feed_gpm", feed_gpm),
        WATER_F.faults("feed_f", feed_f),
    )
    net_lb_h = evaporation_lb_h(output_btu_h, pressure_psia) * (1 - return_share) - feed_lb_h(feed_gpm, feed_f)
    if net_lb_h <= 0:
        return LevelFall(None, net_lb_h, "not falling")
    minutes = MINUTES_PER_HOUR * drop_in * weight_per_inch_lb(surface_ft2, pressure_psia) / net_lb_h
    return LevelFall(minutes, net_lb_h, f"{minutes:.1f} minutes")


def level_falls(
    normal_in: float,
    cutoff_in: float,
    lowest_in: float,
    surface_ft2: float,
    output_btu_h: float,
    pressure_psia: float,
    return_share: float = 0.0,
    feed_gpm: float = 0.0,
) -> LevelFalls:
    """Return both times for heights in inches over the glass's bottom: normal line, cutoff's trip, lowest safe line.

    Heights in a dangerous order are possible: their time is 0 and the judgement says hold. The lowest safe line is
    the maker's; nothing here may be taken for it. Other arguments and limits as for `level_fall`.
    """
    require(
        LEVEL_IN.faults("normal_in", normal_in),
        LEVEL_IN.faults("cutoff_in", cutoff_in),
        LEVEL_IN.faults("lowest_in", lowest_in),
    )
    rest = (surface_ft2, output_btu_h, pressure_psia, return_share, feed_gpm)
    first = level_fall(max(0.0, normal_in - cutoff_in), *rest)
    second = level_fall(max(0.0, cutoff_in - lowest_in), *rest)
    return LevelFalls(first, second, judge_reasons(_height_reasons(normal_in, cutoff_in, lowest_in)))


def _height_reasons(normal_in: float, cutoff_in: float, lowest_in: float) -> list[EngineeringReason]:
    reasons = []
    if compare(cutoff_in, lowest_in, "in") < 0:
        sentence = f"The cutoff trips at {cutoff_in:g} in, under the lowest safe line at {lowest_in:g} in."
        reasons.append(EngineeringReason("cutoff_under_lowest_line", "hold", sentence))
    if compare(normal_in, cutoff_in, "in") <= 0:
        sentence = f"The normal line at {normal_in:g} in is not over the cutoff's trip at {cutoff_in:g} in."
        reasons.append(EngineeringReason("cutoff_at_normal_line", "routine", sentence))
    if compare(normal_in, lowest_in, "in") <= 0:
        sentence = f"The normal line at {normal_in:g} in is not over the lowest safe line at {lowest_in:g} in."
        reasons.append(EngineeringReason("normal_at_lowest_line", "hold", sentence))
    if compare(cutoff_in, GLASS_BOTTOM_IN, "in") <= 0:
        sentence = f"The cutoff trips at {cutoff_in:g} in, where no water is left in the glass."
        reasons.append(EngineeringReason("cutoff_under_glass", "hold", sentence))
    if is_lowest_line_doubtful(lowest_in):
        reasons.append(EngineeringReason("lowest_line_in_glass", "routine", question_lowest_line(lowest_in)))
    return reasons


def is_lowest_line_doubtful(lowest_in: float) -> bool:
    """Return whether a lowest safe line lies over the bottom of the glass, where no maker should have it (HG-603)."""
    return compare(lowest_in, GLASS_BOTTOM_IN, "in") > 0


def question_lowest_line(lowest_in: float) -> str:
    """Return the question that a lowest safe line over the bottom of the glass raises."""
    return (
        f"The lowest safe line is given {lowest_in:g} in over the bottom of the glass, which should lie at least "
        f"{MIN_UNDER_GLASS_IN:g} in over that line (HG-603, not verified yet): is it the maker's?"
    )


def _check_feed(output_btu_h: float, pressure_psia: float, feed_f: float) -> None:
    require(
        OUTPUT_BTU_H.faults("output_btu_h", output_btu_h),
        PSIA.faults("pressure_psia", pressure_psia),
        WATER_F.faults("feed_f", feed_f),
    )
    boiling_f = saturation_f(pressure_psia)
    if feed_f > boiling_f:
        message = f"feed_f: {feed_f:g} F is over boiling, {boiling_f:.1f} F at this pressure."
        raise Impossible("feed_over_boiling", message, ("feed_f",))
