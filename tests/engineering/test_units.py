"""Conversions against NIST's factors and scipy's constants."""

import ast
from pathlib import Path

import numpy as np
import pytest
import scipy.constants as sc
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering import units
from fleet.errors import Refused
from tests.engineering.outside import met, swept

NIST = "NIST SP 811 Appendix B.8, from memory"
FACTORS = [  # (from, to, factor as printed, relative error of its rounding)
    ("psi", "kPa", 6.894757, 1e-6),
    ("inH2O", "Pa", 249.0889, 1e-6),
    ("in", "mm", 25.4, 1e-12),
    ("ft", "m", 0.3048, 1e-12),
    ("in2", "cm2", 6.4516, 1e-12),
    ("ft2", "m2", 9.290304e-2, 1e-12),
    ("ft3", "m3", 2.831685e-2, 1e-6),
    ("gal", "L", 3.785412, 1e-6),
    ("lb", "kg", 0.45359237, 1e-12),
    ("lb/h", "kg/h", 0.45359237, 1e-12),
    ("gal/min", "L/h", 227.1247, 1e-6),
    ("Btu", "MJ", 1.055056e-3, 1e-6),
    ("therm", "MJ", 105.5056, 1e-6),
    ("Btu/h", "kW", 2.930711e-4, 1e-6),
    ("Btu/lb", "kJ/kg", 2.326, 1e-12),
    ("Btu/ft3", "MJ/m3", 3.725895e-2, 1e-6),
    ("ft3/lb", "m3/kg", 6.242796e-2, 1e-6),
    ("lb/ft3", "kg/m3", 16.01846, 1e-6),
    ("lb/gal", "kg/m3", 119.8264, 1e-6),
]
DEGREES = [("F", "C", 212.0, 100.0), ("F", "C", -40.0, -40.0), ("C", "K", 0.0, 273.15), ("F", "R", 0.0, 459.67)]
SCIPY = [
    ("psi", "Pa", sc.psi),
    ("in", "mm", sc.inch * 1000),
    ("ft", "m", sc.foot),
    ("gal", "L", sc.gallon * 1000),
    ("lb", "kg", sc.pound),
    ("Btu", "MJ", sc.Btu_IT / 1e6),
    ("therm", "MJ", sc.Btu_IT / 10),
    ("F diff", "K diff", sc.degree_Fahrenheit),
    ("Btu/h", "kW", sc.Btu_IT / sc.hour / 1000),
]
KINDS = {kind: [name for name, unit in units.UNITS.items() if unit[2] == kind] for _, _, kind in units.UNITS.values()}
PAIRS = [(one, other) for names in KINDS.values() for one in names for other in names]


@pytest.mark.parametrize(("unit", "to", "printed", "rounding"), FACTORS)
def test_each_factor_is_the_printed_one(unit: str, to: str, printed: float, rounding: float) -> None:
    met("units", NIST, f"{unit} in {to}", units.factor(unit, to), printed, rel=rounding)


@pytest.mark.parametrize(("unit", "to", "value", "expected"), DEGREES)
def test_each_temperature_is_the_printed_one(unit: str, to: str, value: float, expected: float) -> None:
    met("units", NIST, f"{value:g} {unit} in {to}", units.convert(value, unit, to), expected, within=1e-9)


@pytest.mark.parametrize(("unit", "to", "theirs"), SCIPY)
def test_each_factor_is_that_of_another_library(unit: str, to: str, theirs: float) -> None:
    swept("units", "scipy.constants", f"{unit} in {to}", units.factor(unit, to), theirs, rel=1e-12)


def test_what_the_published_values_print_is_met() -> None:
    met("units", "published values 11", "15 psi", units.convert(15.0, "psi", "kPa"), 103.4214, within=5e-5)
    met("units", "published values 1.3", "boiler horsepower", units.factor("bhp", "Btu/h"), 33_475, rel=1e-12)
    met("units", "published values 8", "a cubic foot", units.factor("ft3", "gal"), 7.4805, within=5e-5)
    met(
        "units",
        "published values 1.2",
        "the atmosphere",
        units.convert(101.325, "kPa abs", "psia"),
        14.696,
        within=5e-4,
    )
    met("units", NIST, "boiler horsepower in kW", units.factor("bhp", "kW"), 9.80950, rel=2e-4)


@pytest.mark.parametrize(("altitude_ft", "printed"), [(0, 14.696), (1000, 14.173), (5000, 12.228), (10_000, 10.106)])
def test_the_standard_atmosphere_is_the_printed_one(altitude_ft: float, printed: float) -> None:
    ours = units.atmosphere_psia(altitude_ft)
    met("units", "US Standard Atmosphere 1976, from memory", f"{altitude_ft} ft", ours, printed, within=2e-3)


@pytest.mark.parametrize(("unit", "to"), PAIRS)
def test_there_and_back_is_the_same(unit: str, to: str) -> None:
    values = np.array([-40.0, 0.0, 1.0, 212.0, 1e6])
    assert units.convert(units.convert(values, unit, to), to, unit) == pytest.approx(values, rel=1e-12, abs=1e-9)


@given(st.floats(-1e9, 1e9), st.sampled_from(sorted(units.UNITS)))
def test_to_si_and_back_is_the_same(value: float, unit: str) -> None:
    si = units.si_unit(unit)
    assert units.convert(units.convert(value, unit, si), si, unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("unit", "to", "code"),
    [
        ("psi", "psia", "other_kind"),
        ("F", "F diff", "other_kind"),
        ("lb", "gal", "other_kind"),
        ("stone", "lb", "unknown_unit"),
    ],
)
def test_two_kinds_are_never_converted_into_each_other(unit: str, to: str, code: str) -> None:
    with pytest.raises(Refused) as refused:
        units.convert(1.0, unit, to)
    assert refused.value.faults[0].code == code


def test_a_temperature_has_no_factor() -> None:
    with pytest.raises(Refused, match="no_factor"):
        units.factor("F", "C")


def test_a_unit_that_is_none_of_ours_is_shown_as_it_is() -> None:
    assert (units.si_unit("degree-days"), units.si_unit("psi")) == ("degree-days", "kPa")


@given(st.floats(-14, 300), st.floats(4, 17))
def test_gauge_and_absolute_turn_into_each_other(psig: float, atmosphere: float) -> None:
    if psig + atmosphere > 0:
        assert units.gauge_psig(units.absolute_psia(psig, atmosphere), atmosphere) == pytest.approx(psig, abs=1e-12)


def test_no_vacuum_is_deeper_than_the_atmosphere() -> None:
    with pytest.raises(Refused, match="above nothing"):
        units.absolute_psia(-14.7)


@given(st.floats(-1500, 29_000))
def test_higher_up_the_air_is_lighter(altitude_ft: float) -> None:
    assert units.atmosphere_psia(altitude_ft + 1000) < units.atmosphere_psia(altitude_ft)


ROOM = Path(units.__file__).parent
CONVERSIONS = {
    1.8, 32.0, 459.67, 273.15, 0.3048, 25.4, 2.54, 0.45359237, 453.6, 6.895, 6.894757, 0.068046, 14.5038, 101.325,
    2.326, 0.4299, 3412.0, 3.412, 0.2931, 1055.0, 1055.06, 33_475.0, 7.48, 7.4805, 0.1337, 3.785, 8.34, 8.337, 8.33,
    62.4, 1728.0, 3600.0, 1440.0, 27.7, 2.31,
}  # fmt: skip
BOUNDS = {"Range"}  # a bound may be any number
ASIDE = {("fuels.py", 1.8)}  # atoms of hydrogen for one of carbon in oil


def numbers_outside_of_ranges(source: str) -> list[tuple[int, float]]:
    """Return (line, number) of every number in code, the bounds of ranges aside."""
    tree = ast.parse(source)
    calls = [
        n for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.func.id in BOUNDS
    ]
    bounds = {id(inner) for call in calls for inner in ast.walk(call)}
    found = [n for n in ast.walk(tree) if isinstance(n, ast.Constant) and id(n) not in bounds]
    return [
        (n.lineno, float(n.value)) for n in found if isinstance(n.value, (int, float)) and not isinstance(n.value, bool)
    ]


def test_conversions_stand_in_one_place_only() -> None:
    others = [path for path in ROOM.rglob("*.py") if path.name != "units.py"]
    found = [
        (p.name, line, n) for p in others for line, n in numbers_outside_of_ranges(p.read_text()) if n in CONVERSIONS
    ]
    assert [one for one in found if (one[0], one[2]) not in ASIDE] == []


def test_a_planted_conversion_is_found() -> None:
    assert numbers_outside_of_ranges("x = Range('F', 32)\ny = x * 7.4805") == [(2, 7.4805)]


def test_the_si_unit_of_each_unit_is_a_unit_of_its_kind_and_shown_in_itself() -> None:
    others = {
        name: si for name, (_, si, kind) in units.UNITS.items() if units.UNITS.get(si, ("", "", ""))[1:] != (si, kind)
    }
    assert others == {}


def test_a_conversion_that_no_factor_makes_says_so() -> None:
    with pytest.raises(Refused, match=r"From F to C there is an offset too\."):
        units.factor("F", "C")
