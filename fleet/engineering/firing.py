"""The input of a burner: by clocking the gas meter or by nozzle and pump pressure, and against the name plate."""

from fleet.engineering.burner_grades import grade_input
from fleet.engineering.checks import Num, Range, require, require_same_shape, square_root
from fleet.engineering.units import ATMOSPHERE_PSIA, STANDARD_ATMOSPHERE_PSIA, convert, factor
from fleet.engineering.verdicts import EngineeringJudgement

DIAL_FT3 = Range("ft3", 0, 100_000, low_in=False, why="a dial that passed nothing clocks nothing")
SECONDS = Range("s", 0, 86_400, low_in=False, why="a turn of the dial takes time, and less than a day")
GAS_BTU_FT3 = Range("Btu/ft3", 400, 4000, why="no fuel gas is worth so little or so much")
OIL_BTU_GAL = Range("Btu/gal", 100_000, 170_000, why="no heating oil is worth so little or so much")
GAS_PSIG = Range("psi", -1, 100, why="no meter in a building stands at such a pressure")
GAS_F = Range("F", -40, 150, why="no gas in a meter is that cold or hot")
GPH = Range("gal/h", 0, 1000, low_in=False, why="a burner that burns has a flow")
PUMP_PSI = Range("psi", 0, 1000, low_in=False, why="no pressure, no spray")
INPUT_BTU_H = Range("Btu/h", 0, 1e9, low_in=False, why="a burner has an input")

METER_FACTOR = Range("", 0.5, 10, why="no meter is that far from base conditions")
BASE_PSIA, BASE_F = 14.73, 60.0  # usual base of gas sold in the United States, from memory
SECONDS_PER_HOUR = factor("h", "s")


def gas_factor(
    gas_psig: float,
    gas_f: float = BASE_F,
    atmosphere_psia: float = STANDARD_ATMOSPHERE_PSIA,
    base_psia: float = BASE_PSIA,
) -> float:
    """Return standard cubic feet in a cubic foot that a meter without compensation shows, at psig, F and psia.

    Ideal gas, base 14.73 psia (other bases: 14.65, 14.696) and 60 F. Impossible outside -1 to 100 psig, -40 to 150 F.
    """
    require(
        GAS_PSIG.faults("gas_psig", gas_psig),
        GAS_F.faults("gas_f", gas_f),
        ATMOSPHERE_PSIA.faults("atmosphere_psia", atmosphere_psia),
        ATMOSPHERE_PSIA.faults("base_psia", base_psia),
    )
    return (atmosphere_psia + gas_psig) / base_psia * convert(BASE_F, "F", "R") / convert(gas_f, "F", "R")


def gas_flow_ft3_h(dial_ft3: Num, seconds: Num) -> Num:
    """Return the flow in ft3/h of a meter whose dial of so many ft3 (over 0) took so many s (over 0 to a day)."""
    require(DIAL_FT3.faults("dial_ft3", dial_ft3), SECONDS.faults("seconds", seconds))
    require_same_shape(dial_ft3=dial_ft3, seconds=seconds)
    return SECONDS_PER_HOUR * dial_ft3 / seconds


def gas_input_btu_h(dial_ft3: Num, seconds: Num, gross_btu_ft3: float, meter_factor: float = 1.0) -> Num:
    """Return the input in Btu/h, gross, by clocking: dial in ft3, time in s, heating value in Btu/ft3 (400 to 4000).

    `meter_factor` is 1 for a compensated meter, else `gas_factor`. All other gas appliances must be off. A second on a
    turn of 36 s is 3 %. Formula: published values 6.5.
    """
    require(
        DIAL_FT3.faults("dial_ft3", dial_ft3),
        SECONDS.faults("seconds", seconds),
        GAS_BTU_FT3.faults("gross_btu_ft3", gross_btu_ft3),
        METER_FACTOR.faults("meter_factor", meter_factor),
    )
    return gas_flow_ft3_h(dial_ft3, seconds) * (gross_btu_ft3 * meter_factor)


def nozzle_gph(rated_gph: Num, pump_psi: Num, rated_psi: float = 100.0) -> Num:
    """Return the flow in gal/h of a nozzle stamped for `rated_gph` at `rated_psi` when the pump gives `pump_psi`.

    Flow goes with the square root of pressure; cold or thick oil shifts it by some per cent. Published values 6.5.
    """
    require(
        GPH.faults("rated_gph", rated_gph),
        PUMP_PSI.faults("pump_psi", pump_psi),
        PUMP_PSI.faults("rated_psi", rated_psi),
    )
    require_same_shape(rated_gph=rated_gph, pump_psi=pump_psi)
    return rated_gph * square_root(pump_psi / rated_psi)


def oil_input_btu_h(flow_gph: Num, gross_btu_gal: float) -> Num:
    """Return the input in Btu/h, gross, of so many gal/h (over 0) at so many Btu/gal (100 000 to 170 000)."""
    require(GPH.faults("flow_gph", flow_gph), OIL_BTU_GAL.faults("gross_btu_gal", gross_btu_gal))
    return flow_gph * gross_btu_gal


def input_ratio(input_btu_h: Num, plate_btu_h: Num) -> Num:
    """Return the input measured as a share of the name plate's, both in Btu/h, over 0."""
    require(INPUT_BTU_H.faults("input_btu_h", input_btu_h), INPUT_BTU_H.faults("plate_btu_h", plate_btu_h))
    require_same_shape(input_btu_h=input_btu_h, plate_btu_h=plate_btu_h)
    return input_btu_h / plate_btu_h


def judge_input(input_btu_h: float, plate_btu_h: float, *, is_assumed: bool = False) -> EngineeringJudgement:
    """Return the grade of an input in Btu/h against its plate's, as `grade_input`. Impossible outside the range."""
    require(INPUT_BTU_H.faults("input_btu_h", input_btu_h), INPUT_BTU_H.faults("plate_btu_h", plate_btu_h))
    return grade_input(input_btu_h, plate_btu_h, is_assumed=is_assumed)
