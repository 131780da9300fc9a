"""What a boiler is rated for: horsepower, square feet of radiation (EDR), net against gross, and pick-up.

EDR of steam is 240 Btu/h per square foot (AHRI and ASHRAE rating practice, from memory); 150 is hot water's and a
common mix-up. Net is gross over 1.333, not 1.33: piping and pick-up together a third (from memory; the allowance of
larger boilers steps down to 1.288, which a rating book must say).
"""

from fleet.engineering.checks import Num, Range, require, require_same_shape
from fleet.engineering.steam import evaporation_btu_lb
from fleet.engineering.units import STANDARD_ATMOSPHERE_PSIA, factor

POWER_BTU_H = Range("Btu/h", 0, 1e9, low_in=False, why="a boiler has an output")
EDR_FT2 = Range("ft2", 0, 1e7, low_in=False, why="a system without radiation needs no boiler")
ALLOWANCE = Range("", 1, 2, why="net is never more than gross, nor less than half")

STEAM_EDR_BTU_H, HOT_WATER_EDR_BTU_H = 240.0, 150.0
STEAM_ALLOWANCE, HOT_WATER_ALLOWANCE = 1.333, 1.15
CONDENSING_LB_H_FT2 = 0.25  # pump practice; 240 over the heat of evaporation is 0.247
FEED_GPM_FT2 = 0.5 / 1000  # published values, section 8


def boiler_horsepower(output_btu_h: Num) -> Num:
    """Return boiler horsepower for an output in Btu/h (over 0), 33 475 each (ASHRAE; print has 33 472 to 33 479)."""
    require(POWER_BTU_H.faults("output_btu_h", output_btu_h))
    return output_btu_h / factor("bhp", "Btu/h")


def from_and_at_lb_h(output_btu_h: Num) -> Num:
    """Return the evaporation from and at 212 F in lb/h for an output in Btu/h (over 0), at the standard atmosphere."""
    require(POWER_BTU_H.faults("output_btu_h", output_btu_h))
    return output_btu_h / evaporation_btu_lb(STANDARD_ATMOSPHERE_PSIA)


def edr_ft2(power_btu_h: Num) -> Num:
    """Return square feet of steam radiation for Btu/h (over 0), 240 each."""
    require(POWER_BTU_H.faults("power_btu_h", power_btu_h))
    return power_btu_h / STEAM_EDR_BTU_H


def net_btu_h(gross_btu_h: Num, allowance: float = STEAM_ALLOWANCE) -> Num:
    """Return the net rating in Btu/h for a gross output in Btu/h (over 0) and an allowance (1 to 2; steam 1.333)."""
    require(POWER_BTU_H.faults("gross_btu_h", gross_btu_h), ALLOWANCE.faults("allowance", allowance))
    return gross_btu_h / allowance


def gross_btu_h(net_btu_h: Num, allowance: float = STEAM_ALLOWANCE) -> Num:
    """Return the gross output in Btu/h that a net rating in Btu/h (over 0) needs, with the same allowance."""
    require(POWER_BTU_H.faults("net_btu_h", net_btu_h), ALLOWANCE.faults("allowance", allowance))
    return net_btu_h * allowance


def pick_up_percent(gross_btu_h: Num, connected_edr_ft2: Num) -> Num:
    """Return what a gross output in Btu/h leaves over the connected steam radiation in ft2, in % of that.

    A third is the usual allowance; under 0 the radiation condenses more than the boiler makes; far over it, the boiler
    is too large and cycles. Impossible for no output or no radiation.
    """
    require(POWER_BTU_H.faults("gross_btu_h", gross_btu_h), EDR_FT2.faults("connected_edr_ft2", connected_edr_ft2))
    require_same_shape(gross_btu_h=gross_btu_h, connected_edr_ft2=connected_edr_ft2)
    return 100 * (gross_btu_h / (connected_edr_ft2 * STEAM_EDR_BTU_H) - 1)


def condensing_lb_h(connected_edr_ft2: Num) -> Num:
    """Return the steam in lb/h that radiation in ft2 (over 0) condenses, 0.25 lb/h each (practice; exactly 0.247)."""
    require(EDR_FT2.faults("connected_edr_ft2", connected_edr_ft2))
    return connected_edr_ft2 * CONDENSING_LB_H_FT2


def feed_rate_gpm(connected_edr_ft2: Num) -> Num:
    """Return the water in gal/min that radiation in ft2 (over 0) returns, 0.5 per 1000 ft2 (practice).

    Feed pumps are commonly twice, condensate pumps three times that (from memory).
    """
    require(EDR_FT2.faults("connected_edr_ft2", connected_edr_ft2))
    return connected_edr_ft2 * FEED_GPM_FT2
