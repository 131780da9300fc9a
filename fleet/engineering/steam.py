"""Saturated steam and water, from absolute pressure, so that altitude needs no special case.

The saturation line is the closed form of IAPWS-IF97, region 4 (equations 29 to 31 of IAPWS R7-97), written for whole
arrays: the library takes one value a call. Enthalpies and densities are the library's (seuif97, regions 1 and 2).
"""

from collections.abc import Callable

import numpy as np
import seuif97  # type: ignore[import-untyped]

from fleet.engineering.checks import Num, Range, require, square_root
from fleet.engineering.units import convert, factor

# Triple point to critical point for the line; 623.15 K is the end of regions 1 and 2, far over any boiler here.
OUTSIDE_LINE_REASON = "water and steam lie side by side only between ice and the critical point"
LINE_PSIA = Range("psia", 0.08865, 3200.11, why=OUTSIDE_LINE_REASON)
LINE_F = Range("F", 32, 705.1, why=OUTSIDE_LINE_REASON)
PSIA = Range("psia", 0.08865, 2397, why="the formulation used ends at 2397 psia")
WATER_F = Range("F", 32, 662, why="that is ice, or over the end of the formulation used")

# Table 34 of IAPWS R7-97.
N1, N2, N3, N4, N5 = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
)
N6, N7, N8, N9, N10 = 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3

MPA = factor("psia", "MPa abs")
KELVIN_STEP, ZERO_KELVIN_F = factor("K diff", "F diff"), convert(0.0, "K", "F")
BTU_LB, FT3_LB = factor("kJ/kg", "Btu/lb"), factor("m3/kg", "ft3/lb")
LIQUID, VAPOUR = 0.0, 1.0  # steam quality
BLOCK_LENGTH = 16_384  # numbers at a time: intermediate results stay in the processor's cache


def saturation_f(pressure_psia: Num) -> Num:
    """Return the temperature in F at which water boils at an absolute pressure in psia (0.0887 to 3200).

    Within 0.02 F of IAPWS-95 from 1 to 100 psia, 0.004 F from 14.5 to 35. Impossible outside the range. Source: S1.
    """
    require(LINE_PSIA.faults("pressure_psia", pressure_psia))
    return _in_blocks(_saturation_f, pressure_psia)


def _saturation_f(pressure_psia: Num) -> Num:
    beta = square_root(square_root(pressure_psia * MPA))
    square = beta * beta
    e = square + N3 * beta + N6
    f = N1 * square + N4 * beta + N7
    g = N2 * square + N5 * beta + N8
    d = 2 * g / (-f - square_root(f * f - 4 * e * g))
    kelvin = (N10 + d - square_root((N10 + d) ** 2 - 4 * (N9 + N10 * d))) / 2
    return kelvin * KELVIN_STEP + ZERO_KELVIN_F


def saturation_psia(temperature_f: Num) -> Num:
    """Return the absolute pressure in psia at which water boils at a temperature in F (32 to 705.1).

    The same closed form as `saturation_f`, inverted. Impossible outside the range. Source: S1.
    """
    require(LINE_F.faults("temperature_f", temperature_f))
    return _in_blocks(_saturation_psia, temperature_f)


def _saturation_psia(temperature_f: Num) -> Num:
    kelvin = (temperature_f - ZERO_KELVIN_F) / KELVIN_STEP
    theta = kelvin + N9 / (kelvin - N10)
    a = theta * theta + N1 * theta + N2
    b = N3 * theta * theta + N4 * theta + N5
    c = N6 * theta * theta + N7 * theta + N8
    fourth = 2 * c / (-b + square_root(b * b - 4 * a * c))
    return fourth**4 / MPA


def liquid_btu_lb(pressure_psia: Num) -> Num:
    """Return the enthalpy of boiling water in Btu/lb at an absolute pressure in psia (0.0887 to 2397).

    Zero is liquid water at the triple point. Within 0.2 Btu/lb of IAPWS-95 from 1 to 100 psia. Source: IF97, seuif97.
    """
    return _by_pressure(seuif97.px2h, pressure_psia, LIQUID, BTU_LB)


def vapour_btu_lb(pressure_psia: Num) -> Num:
    """Return the enthalpy of dry steam in Btu/lb at an absolute pressure in psia; range, error and source as above."""
    return _by_pressure(seuif97.px2h, pressure_psia, VAPOUR, BTU_LB)


def evaporation_btu_lb(pressure_psia: Num) -> Num:
    """Return the heat of evaporation in Btu/lb at an absolute pressure in psia; range, error and source as above."""
    return vapour_btu_lb(pressure_psia) - liquid_btu_lb(pressure_psia)


def vapour_ft3_lb(pressure_psia: Num) -> Num:
    """Return the volume of dry steam in ft3/lb at an absolute pressure in psia (0.0887 to 2397).

    Within 0.1 % of IAPWS-95. Impossible outside the range. Source: IAPWS-IF97, library seuif97.
    """
    return _by_pressure(seuif97.px2v, pressure_psia, VAPOUR, FT3_LB)


def vapour_lb_ft3(pressure_psia: Num) -> Num:
    """Return the density of dry steam in lb/ft3 at an absolute pressure in psia; range, error and source as above."""
    return 1 / vapour_ft3_lb(pressure_psia)


def liquid_lb_ft3(pressure_psia: Num) -> Num:
    """Return the density of boiling water in lb/ft3 at an absolute pressure in psia; range, error, source as above."""
    return 1 / _by_pressure(seuif97.px2v, pressure_psia, LIQUID, FT3_LB)


def water_btu_lb(temperature_f: Num) -> Num:
    """Return the enthalpy in Btu/lb of liquid water at a temperature in F (32 to 662), as for feed water.

    That of boiling water at this temperature: a low-pressure feed lies under 0.1 Btu/lb from it. Source: IAPWS-IF97.
    """
    return _by_temperature(seuif97.tx2h, temperature_f, BTU_LB)


def water_lb_ft3(temperature_f: Num) -> Num:
    """Return the density in lb/ft3 of liquid water at a temperature in F (32 to 662). Source: IAPWS-IF97."""
    return 1 / _by_temperature(seuif97.tx2v, temperature_f, FT3_LB)


def water_lb_gal(temperature_f: Num) -> Num:
    """Return the weight in lb of a gallon of liquid water at a temperature in F (32 to 662). Source: IAPWS-IF97."""
    return water_lb_ft3(temperature_f) * factor("gal", "ft3")


def _by_pressure(function: Callable[[float, float], float], pressure_psia: Num, quality: float, scale: float) -> Num:
    require(PSIA.faults("pressure_psia", pressure_psia))
    return _apply_to_each(lambda mpa: scale * function(mpa, quality), pressure_psia * MPA)


def _by_temperature(function: Callable[[float, float], float], temperature_f: Num, scale: float) -> Num:
    require(WATER_F.faults("temperature_f", temperature_f))
    return _apply_to_each(lambda celsius: scale * function(celsius, LIQUID), convert(temperature_f, "F", "C"))


def _in_blocks(function: Callable[[Num], Num], values: Num) -> Num:
    """Apply a function of arrays to a long array in blocks, to anything else at once."""
    if not isinstance(values, np.ndarray) or values.size <= BLOCK_LENGTH:
        return function(values)
    flat, results = values.ravel(), np.empty(values.size)
    for start in range(0, values.size, BLOCK_LENGTH):
        results[start : start + BLOCK_LENGTH] = function(flat[start : start + BLOCK_LENGTH])
    return results.reshape(values.shape)


def _apply_to_each(function: Callable[[float], float], values: Num) -> Num:
    """Apply a function of one float to a float, or to every element of an array in its shape."""
    if isinstance(values, np.ndarray):
        results = np.fromiter(map(function, values.ravel().tolist()), np.float64, values.size)
        return results.reshape(values.shape)
    return function(float(values))
