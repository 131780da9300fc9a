"""Offered: steam at a gauge pressure, the ladder and its trips, relief capacity."""

from dataclasses import dataclass

from fleet.engineering import ladder, relief, steam, trips, units
from fleet.engineering.checks import Range
from fleet.engineering.table.definitions import (
    GRADE_OUTPUTS,
    NO_PERMISSION,
    VERDICT_OUTPUTS,
    CalculationSpec,
    InputSpec,
    OutputSpec,
)
from fleet.engineering.verdicts import EngineeringJudgement

GAUGE = InputSpec(
    "pressure_psig", "Gauge pressure", Range("psi", -14, 150, why="no gauge of steam heat shows that at all")
)
ALTITUDE = InputSpec(
    "altitude_ft",
    "Altitude of the house",
    units.ALTITUDE_FT,
    default=0.0,
    assumed="The house stands at sea level. At 5,000 ft water boils some 9 F lower.",
)
IF97_SOURCE = "S1, by the closed form of its line and the library seuif97; D3 for the altitude"
LADDER_SOURCE = (
    "S53 for the 15; not verified yet: HG-605 and CSD-1 CW-310; common practice for the 2 psi; S51 for the 5 psi; S5, "
    "S12 and S13 for the gauge's 30; not verified yet: HG-602(a) for its 60"
)


@dataclass(frozen=True, slots=True)
class SaturatedSteam:
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


def psia_at_altitude(pressure_psig: float, altitude_ft: float) -> float:
    """Return the absolute pressure in psia of a gauge reading in psig at an altitude in ft."""
    return units.absolute_psia(pressure_psig, units.atmosphere_psia(altitude_ft))


def _saturated_steam(pressure_psig: float, altitude_ft: float) -> SaturatedSteam:
    pressure = psia_at_altitude(pressure_psig, altitude_ft)
    return SaturatedSteam(
        pressure,
        steam.saturation_f(pressure),
        liquid_btu_lb=steam.liquid_btu_lb(pressure),
        evaporation_btu_lb=steam.evaporation_btu_lb(pressure),
        vapour_btu_lb=steam.vapour_btu_lb(pressure),
        vapour_ft3_lb=steam.vapour_ft3_lb(pressure),
        liquid_lb_ft3=steam.liquid_lb_ft3(pressure),
    )


def _boiling_psig(temperature_f: float, altitude_ft: float) -> float:
    return units.gauge_psig(steam.saturation_psia(temperature_f), units.atmosphere_psia(altitude_ft))


def _judge_ladder(
    cut_in_psi: float | None,
    cut_out_psi: float | None,
    limit_psi: float | None,
    valve_psi: float | None,
    gauge_top_psi: float | None,
) -> EngineeringJudgement:
    return ladder.judge_ladder(ladder.Ladder(cut_in_psi, cut_out_psi, limit_psi, valve_psi), gauge_top_psi)


def _set_points(main_psi: float, differential_psi: float, sense: str) -> SetPoints:
    control = (main_psi, differential_psi, sense)
    return SetPoints(ladder.cut_in(*control), ladder.cut_out(*control))


def _rung_input(name: str, label: str, **more: object) -> InputSpec:
    return InputSpec(name, label, ladder.SET_PSI, **more)  # type: ignore[arg-type]


MAIN = _rung_input("main_psi", "Main scale")
DIFFERENTIAL = InputSpec("differential_psi", "Differential", ladder.DIFFERENTIAL_PSI)
NOT_COMPARED = "is not known, and so not compared."

TABLE = (
    CalculationSpec(
        "steam_at_gauge",
        "Steam and water at a gauge pressure",
        function=_saturated_steam,
        inputs=(GAUGE, ALTITUDE),
        outputs=(
            OutputSpec("pressure_psia", "Absolute pressure", "psia", "pressure_psia"),
            OutputSpec("temperature_f", "Boils at", "F", "temperature_f"),
            OutputSpec("liquid_btu_lb", "Heat in the water", "Btu/lb", "liquid_btu_lb"),
            OutputSpec("evaporation_btu_lb", "Heat of evaporation", "Btu/lb", "evaporation_btu_lb"),
            OutputSpec("vapour_btu_lb", "Heat in the steam", "Btu/lb", "vapour_btu_lb"),
            OutputSpec("vapour_ft3_lb", "Volume of the steam", "ft3/lb", "vapour_ft3_lb"),
            OutputSpec("liquid_lb_ft3", "Density of the water", "lb/ft3", "liquid_lb_ft3"),
        ),
        formula="p = gauge + atmosphere at the altitude; T, h, v on the saturation line of IAPWS-IF97",
        source=IF97_SOURCE,
        caution=(
            "A gauge at zero does not mean no pressure: water at 212 F stands at 0.013 psi. Open vent and gauge, both."
        ),
    ),
    CalculationSpec(
        "pressure_at_boiling",
        "Gauge pressure at which water boils at a temperature",
        function=_boiling_psig,
        inputs=(
            InputSpec("temperature_f", "Temperature", Range("F", 33, 370, why="there is no such steam heat")),
            ALTITUDE,
        ),
        outputs=(OutputSpec("pressure_psig", "Gauge pressure", "psi"),),
        formula="saturation line of IAPWS-IF97, less the atmosphere at the altitude",
        source=IF97_SOURCE,
        caution="Below the house's own boiling point the answer is a vacuum, under zero.",
    ),
    CalculationSpec(
        "ladder",
        "The pressure ladder",
        function=_judge_ladder,
        inputs=(
            _rung_input("cut_in_psi", "Cut-in", default=None, assumed=f"The cut-in {NOT_COMPARED}"),
            _rung_input("cut_out_psi", "Cut-out", default=None, assumed=f"The cut-out {NOT_COMPARED}"),
            _rung_input("limit_psi", "High limit", default=None, assumed=f"The high limit {NOT_COMPARED}"),
            _rung_input("valve_psi", "Safety valve's set pressure", default=None, assumed=f"The valve {NOT_COMPARED}"),
            InputSpec(
                "gauge_top_psi",
                "Gauge reads to",
                ladder.GAUGE_PSI,
                default=None,
                assumed=f"The range of the gauge {NOT_COMPARED}",
            ),
        ),
        outputs=VERDICT_OUTPUTS,
        formula=(
            "0 <= cut-in < cut-out < high limit < valve <= 15 psi; limit 2 and cut-out 5 under the valve; "
            "gauge 30 to 60"
        ),
        source=LADDER_SOURCE,
        caution=NO_PERMISSION,
    ),
    CalculationSpec(
        "control_set_points",
        "Cut-in and cut-out of a control",
        function=_set_points,
        inputs=(MAIN, DIFFERENTIAL, InputSpec("sense", "Differential is", choices=("additive", "subtractive"))),
        outputs=(
            OutputSpec("cut_in_psi", "Cut-in", "psi", "cut_in_psi"),
            OutputSpec("cut_out_psi", "Cut-out", "psi", "cut_out_psi"),
        ),
        formula=(
            "additive: main is cut-in, cut-out = main + differential; subtractive: main is cut-out, cut-in = main - it"
        ),
        source="Common practice",
        caution="Which kind it is stands in the maker's sheet; watch three cycles against the gauge.",
    ),
    CalculationSpec(
        "control_sense",
        "Which kind of differential a control has",
        function=ladder.sense_from_readings,
        inputs=(
            MAIN,
            DIFFERENTIAL,
            _rung_input("seen_in_psi", "Seen to cut in at"),
            _rung_input("seen_out_psi", "Seen to cut out at"),
        ),
        outputs=(OutputSpec("sense", "The readings speak for"),),
        formula="both kinds are tried; one that lies within half the differential of both readings fits",
        source="Common practice; our choice for the half",
        caution="A drifted control may look like the other kind: the maker's sheet decides.",
    ),
    CalculationSpec(
        "control_trip",
        "Operating control: trip against set point",
        function=trips.grade_control_trip,
        inputs=(
            _rung_input("trip_psi", "Opened at"),
            _rung_input("set_psi", "Set to open at"),
            DIFFERENTIAL,
            _rung_input("limit_psi", "High limit", default=None, assumed="No limit is known: 15 psi is taken for it."),
        ),
        outputs=GRADE_OUTPUTS,
        formula=(
            "failed: not 1 psi under the limit, which is never over 15; good: within max(0.5 psi, 20 % of the "
            "differential); else drifted"
        ),
        source="Common practice; S53 for the 15",
        caution=NO_PERMISSION,
    ),
    CalculationSpec(
        "limit_trip",
        "High limit: trip against set point",
        function=trips.grade_limit_trip,
        inputs=(
            _rung_input("trip_psi", "Tripped at"),
            _rung_input("set_psi", "Set at"),
            _rung_input(
                "valve_psi",
                "Safety valve's set pressure",
                default=None,
                assumed="No valve's set pressure is known: 15 psi is taken for it.",
            ),
        ),
        outputs=GRADE_OUTPUTS,
        formula="failed: not 2 psi under the valve, which is never over 15; good: within 1 psi; else drifted",
        source="Common practice; S53 for the 15",
        caution="Lower the limit to the pressure there is; never raise or bypass it to reach a test pressure.",
    ),
    CalculationSpec(
        "relief_margin",
        "Safety valves' capacity against the boiler",
        function=relief.relief_margin,
        inputs=(
            InputSpec("output_btu_h", "Output at the nozzle", relief.OUTPUT_BTU_H),
            InputSpec("stamped_lb_h", "Stamped capacity of each valve", relief.STAMP_LB_H, many=True, gaps=True),
            InputSpec(
                "rule",
                "Adopted rule",
                choices=relief.RULES,
                default="output_only",
                assumed="The local rule goes by the output alone; some states take the greater of it and a table.",
            ),
            InputSpec(
                "surface_ft2",
                "Heating surface",
                relief.SURFACE_FT2,
                default=0.0,
                assumed="The heating surface is not known and does not count.",
            ),
            InputSpec(
                "firing",
                "Firing",
                choices=relief.FIRINGS,
                default="oil_gas",
                assumed="The boiler burns oil or gas.",
            ),
            InputSpec(
                "kind",
                "Kind of surface",
                choices=relief.KINDS,
                default="watertube",
                assumed="The surface is watertube, for which the table asks most.",
            ),
        ),
        outputs=(
            OutputSpec("required_lb_h", "Required", "lb/h", "required_lb_h"),
            OutputSpec("installed_lb_h", "Stamped together", "lb/h", "installed_lb_h"),
            OutputSpec("ratio", "Stamped over required", "", "ratio"),
            OutputSpec("verdict", "Verdict", at="judgement.verdict"),
            OutputSpec("reasons", "Reasons", at="judgement.sentences"),
        ),
        formula=(
            "required = output / 1000, or the greater of it and surface x lb/h per ft2 of the table; the "
            "stamps are summed"
        ),
        source="S2 quotes HG-400.1(d); S7 for the table, with S4, S10 and S11",
        caution=(
            "The 5 psi accumulation rule governs in every case. After more fire was set, compare with the largest fuel."
        ),
    ),
    CalculationSpec(
        "stamp_plausible",
        "Whether a stamped capacity can be true",
        function=relief.judge_stamp,
        inputs=(
            InputSpec("stamp_lb_h", "Stamp", relief.STAMP_LB_H),
            InputSpec("bore_in", "Bore", relief.BORE_IN),
            InputSpec(
                "set_psig",
                "Set pressure",
                relief.SET_PSIG,
                default=15.0,
                assumed="The valve is set at 15 psi, the most that is allowed.",
            ),
        ),
        outputs=VERDICT_OUTPUTS,
        formula="W = 51.5 A P K at most, P = set + 5 + 14.7, K = 0.878",
        source="S15 and S16; not verified yet: ASME IV for the 5 psi over set",
        caution="Only a check for misread stamps: in service the stamp counts, never the formula.",
    ),
)
