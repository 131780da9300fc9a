"""All conversions of units: US units inside, SI for people who choose them; factors from pint.

Inside, every formula takes and gives US customary units, named in its arguments. The British thermal unit is the
International Table one (1055.055 852 62 J, the Btu of steam tables): pint's plain `Btu` is the ISO 1055.056 J.
Source of the factors: pint's registry, which states the exact definitions of NIST SP 811.
"""

from functools import cache

import pint

from fleet.engineering.checks import Impossible, Num, Range, power, require

# Our name of a unit: (pint's expression, the SI unit it is shown in, the same kind of quantity).
# Gauge and absolute pressure are two kinds, so are temperature and difference of temperature: they never convert.
UNITS: dict[str, tuple[str, str, str]] = {
    "psi": ("psi", "kPa", "pressure"),
    "kPa": ("kPa", "kPa", "pressure"),
    "inH2O": ("249.08891 Pa", "Pa", "pressure"),  # 4 degC, conventional: NIST SP 811 gives 2.490889 E+02
    "Pa": ("Pa", "Pa", "pressure"),
    "psia": ("psi", "kPa abs", "absolute pressure"),
    "kPa abs": ("kPa", "kPa abs", "absolute pressure"),
    "MPa abs": ("MPa", "MPa abs", "absolute pressure"),
    "F": ("degF", "C", "temperature"),
    "C": ("degC", "C", "temperature"),
    "K": ("kelvin", "K", "temperature"),
    "R": ("degR", "K", "temperature"),
    "F diff": ("delta_degF", "K diff", "difference of temperature"),
    "K diff": ("delta_degC", "K diff", "difference of temperature"),
    "in": ("inch", "mm", "length"),
    "mm": ("mm", "mm", "length"),
    "ft": ("foot", "m", "length"),
    "m": ("m", "m", "length"),
    "in2": ("inch**2", "cm2", "area"),
    "cm2": ("cm**2", "cm2", "area"),
    "ft2": ("foot**2", "m2", "area"),
    "m2": ("m**2", "m2", "area"),
    "ft3": ("foot**3", "m3", "volume"),
    "m3": ("m**3", "m3", "volume"),
    "gal": ("gallon", "L", "volume"),
    "L": ("liter", "L", "volume"),
    "lb": ("pound", "kg", "mass"),
    "kg": ("kg", "kg", "mass"),
    "lb/h": ("pound/hour", "kg/h", "flow of mass"),
    "kg/h": ("kg/hour", "kg/h", "flow of mass"),
    "gal/h": ("gallon/hour", "L/h", "flow of volume"),
    "gal/min": ("gallon/minute", "L/h", "flow of volume"),
    "gal/day": ("gallon/day", "L/day", "flow of volume"),
    "ft3/h": ("foot**3/hour", "m3/h", "flow of volume"),
    "L/h": ("liter/hour", "L/h", "flow of volume"),
    "L/day": ("liter/day", "L/day", "flow of volume"),
    "m3/h": ("m**3/hour", "m3/h", "flow of volume"),
    "Btu": ("Btu_it", "MJ", "energy"),
    "therm": ("1e5 Btu_it", "MJ", "energy"),
    "MJ": ("MJ", "MJ", "energy"),
    "Btu/h": ("Btu_it/hour", "kW", "power"),
    "kW": ("kW", "kW", "power"),
    "bhp": ("33475 Btu_it/hour", "kW", "power"),  # boiler horsepower, S48
    "Btu/lb": ("Btu_it/pound", "kJ/kg", "specific energy"),
    "kJ/kg": ("kJ/kg", "kJ/kg", "specific energy"),
    "Btu/ft3": ("Btu_it/foot**3", "MJ/m3", "energy in a volume"),
    "Btu/gal": ("Btu_it/gallon", "MJ/m3", "energy in a volume"),
    "MJ/m3": ("MJ/m**3", "MJ/m3", "energy in a volume"),
    "ft3/lb": ("foot**3/pound", "m3/kg", "specific volume"),
    "m3/kg": ("m**3/kg", "m3/kg", "specific volume"),
    "lb/ft3": ("pound/foot**3", "kg/m3", "density"),
    "lb/gal": ("pound/gallon", "kg/m3", "density"),
    "kg/m3": ("kg/m**3", "kg/m3", "density"),
    "lb/in": ("pound/inch", "kg/mm", "mass in a length"),
    "kg/mm": ("kg/mm", "kg/mm", "mass in a length"),
    "s": ("second", "s", "time"),
    "min": ("minute", "min", "time"),
    "h": ("hour", "h", "time"),
    "days": ("day", "days", "time"),
    "%": ("percent", "%", "share"),
    "ppm": ("ppm", "ppm", "share"),
}

DEGREES = {"degF": "delta_degF", "degC": "delta_degC", "kelvin": "kelvin", "degR": "degR"}  # one step of each scale

ANY = Range("", -1e30, 1e30, why="nothing about a building is that large")
ALTITUDE_FT = Range("ft", -1500, 30_000, why="no building stands there")
PSIA = Range("psia", 0, 3200, low_in=False, why="an absolute pressure is above nothing, a gauge can read under zero")
ATMOSPHERE_PSIA = Range("psia", 4, 17, why="the air over a building weighs 4 to 17 psi")
STANDARD_ATMOSPHERE_PSIA = 14.695948775513447  # 101.325 kPa exactly; `factor` gives the same, a test says so


def convert(value: Num, unit: str, to: str) -> Num:
    """Return `value` (a number or array within 1e30) in another unit of the same kind.

    Impossible for an unknown unit, two kinds (gauge for absolute pressure, a temperature for a difference), NaN, inf.
    """
    require(ANY.faults("value", value))
    scale, offset = _conversion_line(unit, to)
    return value * scale + offset


def factor(unit: str, to: str) -> float:
    """Return what a value in `unit` is multiplied by to be in `to`; Impossible where that alone does not do."""
    scale, offset = _conversion_line(unit, to)
    if offset:
        raise Impossible("no_factor", f"From {unit} to {to} there is an offset too.", ("to",))
    return scale


def si_unit(unit: str) -> str:
    """Return the SI unit in which a quantity of `unit` is shown. A unit not in UNITS is returned unchanged."""
    return UNITS[unit][1] if unit in UNITS else unit


def atmosphere_psia(altitude_ft: Num) -> Num:
    """Return the standard atmosphere's pressure in psia at an altitude in ft (-1500 to 30 000).

    Source: US Standard Atmosphere 1976, the layer under 11 km: 101.325 kPa (1 - 2.25577e-5 h/m)^5.25588. The weather
    moves it by about 0.5 psi: a barometer at the place is better.
    """
    require(ALTITUDE_FT.faults("altitude_ft", altitude_ft))
    metres = altitude_ft * factor("ft", "m")
    return STANDARD_ATMOSPHERE_PSIA * power(1 - 2.25577e-5 * metres, 5.25588)


def absolute_psia(pressure_psig: Num, atmosphere_psia: float = STANDARD_ATMOSPHERE_PSIA) -> Num:
    """Return the absolute pressure in psia of a gauge reading in psig under an atmosphere in psia (4 to 17).

    Impossible where less than nothing would be left: no vacuum is deeper than the atmosphere.
    """
    require(ANY.faults("pressure_psig", pressure_psig), ATMOSPHERE_PSIA.faults("atmosphere_psia", atmosphere_psia))
    absolute = pressure_psig + atmosphere_psia
    require(PSIA.faults("pressure_psig", absolute))
    return absolute


def gauge_psig(pressure_psia: Num, atmosphere_psia: float = STANDARD_ATMOSPHERE_PSIA) -> Num:
    """Return what a gauge shows, in psig, for an absolute pressure in psia under an atmosphere in psia (4 to 17)."""
    require(PSIA.faults("pressure_psia", pressure_psia), ATMOSPHERE_PSIA.faults("atmosphere_psia", atmosphere_psia))
    return pressure_psia - atmosphere_psia


@cache
def _unit_registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry(cache_folder=None)


@cache
def _conversion_line(unit: str, to: str) -> tuple[float, float]:
    """Return (scale, offset) of a conversion. All conversions are linear."""
    for name, place in ((unit, "unit"), (to, "to")):
        if name not in UNITS:
            raise Impossible("unknown_unit", f"{name!r} is none of the units known here.", (place,))
    (source, _, kind), (target, _, target_kind) = UNITS[unit], UNITS[to]
    if kind != target_kind:
        raise Impossible("other_kind", f"{unit} is a {kind}, {to} a {target_kind}.", ("to",))
    if kind == "temperature":
        return _temperature_line(source, target)
    return float(
        _unit_registry()(source).to(_unit_registry()(target)).magnitude / _unit_registry()(target).magnitude
    ), 0.0


def _temperature_line(source: str, target: str) -> tuple[float, float]:
    registry = _unit_registry()
    at_zero = registry.Quantity(0.0, source).to(target).magnitude
    one_step = registry.Quantity(1.0, DEGREES[source]).to(DEGREES[target]).magnitude
    return float(one_step), float(at_zero)
