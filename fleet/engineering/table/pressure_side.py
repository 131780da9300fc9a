"""Offered: steam at a gauge pressure, the ladder and its trips, relief capacity."""

from dataclasses import dataclass

from fleet.engineering import ladder, relief, steam, units
from fleet.engineering.checks import Range
from fleet.engineering.table.form import NO_PERMISSION, VERDICT, Calculation, Input, Output
from fleet.engineering.verdicts import Judgement

GAUGE = Input("pressure_psig", "Gauge pressure", Range("psi", -14, 150, why="no gauge of steam heat shows that at all"))
ALTITUDE = Input("altitude_ft", "Altitude of the house", units.ALTITUDE_FT, default=0.0)
IF97 = "IAPWS R7-97 (S1); saturation line in its closed form, enthalpy and density by the library seuif97"
LADDER_SOURCE = "Published values section 3: HG-605 and CW-310 from memory, operating gap S51"


@dataclass(frozen=True, slots=True)
class Steam:
    """Saturated steam and water at one pressure, US units as named."""

    pressure_psia: float
    temperature_f: float
    liquid_btu_lb: float
    evaporation_btu_lb: float
    vapour_btu_lb: float
    vapour_ft3_lb: float
    liquid_lb_ft3: float


@dataclass(frozen=True, slots=True)
class SetPoints:
    """Cut-in and cut-out in psig that a control's scale and differential give."""

    cut_in_psi: float
    cut_out_psi: float


def psia(pressure_psig: float, altitude_ft: float) -> float:
    """Return the absolute pressure in psia of a gauge reading in psig at an altitude in ft."""
    return units.absolute_psia(pressure_psig, units.atmosphere_psia(altitude_ft))


def _steam(pressure_psig: float, altitude_ft: float) -> Steam:
    pressure = psia(pressure_psig, altitude_ft)
    return Steam(
        pressure,
        steam.saturation_f(pressure),
        steam.liquid_btu_lb(pressure),
        steam.evaporation_btu_lb(pressure),
        steam.vapour_btu_lb(pressure),
        steam.vapour_ft3_lb(pressure),
        steam.liquid_lb_ft3(pressure),
    )


def _boiling(temperature_f: float, altitude_ft: float) -> float:
    return units.gauge_psig(steam.saturation_psia(temperature_f), units.atmosphere_psia(altitude_ft))


def _ladder(
    cut_in_psi: float | None,
    cut_out_psi: float | None,
    limit_psi: float | None,
    valve_psi: float | None,
    gauge_top_psi: float | None,
) -> Judgement:
    return ladder.judge(ladder.Ladder(cut_in_psi, cut_out_psi, limit_psi, valve_psi), gauge_top_psi)


def _set_points(main_psi: float, differential_psi: float, sense: str) -> SetPoints:
    asked = (main_psi, differential_psi, sense)
    return SetPoints(ladder.cut_in(*asked), ladder.cut_out(*asked))


def _rung(name: str, label: str, **more: object) -> Input:
    return Input(name, label, ladder.SET_PSI, **more)  # type: ignore[arg-type]


MAIN = _rung("main_psi", "Main scale")
DIFFERENTIAL = Input("differential_psi", "Differential", ladder.DIFFERENTIAL_PSI)
GRADE = (Output("grade", "Grade"),)

TABLE = (
    Calculation(
        "steam_at_gauge",
        "Steam and water at a gauge pressure",
        _steam,
        (GAUGE, ALTITUDE),
        (
            Output("pressure_psia", "Absolute pressure", "psia", "pressure_psia"),
            Output("temperature_f", "Boils at", "F", "temperature_f"),
            Output("liquid_btu_lb", "Heat in the water", "Btu/lb", "liquid_btu_lb"),
            Output("evaporation_btu_lb", "Heat of evaporation", "Btu/lb", "evaporation_btu_lb"),
            Output("vapour_btu_lb", "Heat in the steam", "Btu/lb", "vapour_btu_lb"),
            Output("vapour_ft3_lb", "Volume of the steam", "ft3/lb", "vapour_ft3_lb"),
            Output("liquid_lb_ft3", "Density of the water", "lb/ft3", "liquid_lb_ft3"),
        ),
        "p = gauge + atmosphere at the altitude; T, h, v on the saturation line of IAPWS-IF97",
        IF97,
        "A gauge at zero does not mean no pressure: water at 212 F stands at 0.013 psi. Open vent and gauge, both.",
    ),
    Calculation(
        "pressure_at_boiling",
        "Gauge pressure at which water boils at a temperature",
        _boiling,
        (Input("temperature_f", "Temperature", Range("F", 33, 370, why="there is no such steam heat")), ALTITUDE),
        (Output("pressure_psig", "Gauge pressure", "psi"),),
        "saturation line of IAPWS-IF97, less the atmosphere at the altitude",
        IF97,
        "Below the house's own boiling point the answer is a vacuum, under zero.",
    ),
    Calculation(
        "ladder",
        "The pressure ladder",
        _ladder,
        (
            _rung("cut_in_psi", "Cut-in", default=None),
            _rung("cut_out_psi", "Cut-out", default=None),
            _rung("limit_psi", "High limit", default=None),
            _rung("valve_psi", "Safety valve's set pressure", default=None),
            Input("gauge_top_psi", "Gauge reads to", ladder.GAUGE_PSI, default=None),
        ),
        VERDICT,
        "0 <= cut-in < cut-out < high limit < valve <= 15 psi; limit 2 and cut-out 5 under the valve; gauge 30 to 60",
        LADDER_SOURCE,
        NO_PERMISSION,
    ),
    Calculation(
        "control_set_points",
        "Cut-in and cut-out of a control",
        _set_points,
        (MAIN, DIFFERENTIAL, Input("sense", "Differential is", choices=("additive", "subtractive"))),
        (Output("cut_in_psi", "Cut-in", "psi", "cut_in_psi"), Output("cut_out_psi", "Cut-out", "psi", "cut_out_psi")),
        "additive: main is cut-in, cut-out = main + differential; subtractive: main is cut-out, cut-in = main - it",
        "Published values section 3, from memory",
        "Which kind it is stands in the maker's sheet; watch three cycles against the gauge.",
    ),
    Calculation(
        "control_sense",
        "Which kind of differential a control has",
        ladder.sense_seen,
        (MAIN, DIFFERENTIAL, _rung("seen_in_psi", "Seen to cut in at"), _rung("seen_out_psi", "Seen to cut out at")),
        (Output("sense", "The readings speak for"),),
        "both kinds are tried; one that lies within half the differential of both readings fits",
        "Published values section 3; the half is our choice",
        "A drifted control may look like the other kind: the maker's sheet decides.",
    ),
    Calculation(
        "control_trip",
        "Operating control: trip against set point",
        ladder.grade_control_trip,
        (
            _rung("trip_psi", "Opened at"),
            _rung("set_psi", "Set to open at"),
            DIFFERENTIAL,
            _rung("limit_psi", "High limit", default=None),
        ),
        GRADE,
        "good: within max(0.5 psi, 20 % of the differential); failed: not 1 psi under the limit; else drifted",
        "Common practice",
        NO_PERMISSION,
    ),
    Calculation(
        "limit_trip",
        "High limit: trip against set point",
        ladder.grade_limit_trip,
        (
            _rung("trip_psi", "Tripped at"),
            _rung("set_psi", "Set at"),
            _rung("valve_psi", "Safety valve's set pressure", default=None),
        ),
        GRADE,
        "good: within 1 psi; failed: not 2 psi under the valve, or over 15; else drifted",
        "Common practice",
        "Lower the limit to the pressure there is; never raise or bypass it to reach a test pressure.",
    ),
    Calculation(
        "relief_margin",
        "Safety valves' capacity against the boiler",
        relief.margin,
        (
            Input("output_btu_h", "Output at the nozzle", relief.OUTPUT_BTU_H),
            Input("stamped_lb_h", "Stamped capacity of each valve", relief.STAMP_LB_H, many=True, gaps=True),
            Input("rule", "Adopted rule", choices=relief.RULES, default="output_only"),
            Input("surface_ft2", "Heating surface", relief.SURFACE_FT2, default=0.0),
            Input("firing", "Firing", choices=relief.FIRINGS, default="oil_gas"),
            Input("kind", "Kind of surface", choices=relief.KINDS, default="firetube"),
        ),
        (
            Output("required_lb_h", "Required", "lb/h", "required_lb_h"),
            Output("installed_lb_h", "Stamped together", "lb/h", "installed_lb_h"),
            Output("ratio", "Stamped over required", "", "ratio"),
            Output("verdict", "Verdict", at="judgement.verdict"),
            Output("reasons", "Reasons", at="judgement.sentences"),
        ),
        "required = output / 1000, or the greater of it and surface x lb/h per ft2 of the table; the stamps are summed",
        "HG-400.1(d) as quoted in S2; table S7, with S4, S10, S11",
        "The 5 psi accumulation rule governs in every case. After more fire was set, compare with the largest fuel.",
    ),
    Calculation(
        "stamp_plausible",
        "Whether a stamped capacity can be true",
        relief.judge_stamp,
        (
            Input("stamp_lb_h", "Stamp", relief.STAMP_LB_H),
            Input("bore_in", "Bore", Range("in", 0, 12, low_in=False, why="steam needs a hole")),
            Input("set_psig", "Set pressure", relief.SET_PSIG, default=15.0),
        ),
        VERDICT,
        "W = 51.5 A P K at most, P = set + 5 + 14.7, K = 0.878",
        "S15, S16; the 5 psi over set from memory",
        "Only a check for misread stamps: in service the stamp counts, never the formula.",
    ),
)
