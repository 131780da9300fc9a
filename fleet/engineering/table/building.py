"""Offered: ratings and radiation, combustion air, altitude, conversions."""

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.engineering import air, ratings, units
from fleet.engineering.checks import Range
from fleet.engineering.table.definitions import NO_PERMISSION, VERDICT_OUTPUTS, CalculationSpec, InputSpec, OutputSpec
from fleet.engineering.verdicts import EngineeringJudgement

AIR_SOURCE = "S44 and S45; not verified yet: NFPA 54 for one opening, louvers and air changes"
AIR_CAUTION = "Input of ALL appliances in the space. Never close an opening against the cold. " + NO_PERMISSION
INPUT = InputSpec("input_btu_h", "Total input", air.INPUT_BTU_H)
CONNECTORS = InputSpec(
    "vent_connectors_in2",
    "All vent connectors together",
    air.ANY_AREA_IN2,
    default=0.0,
    assumed="The area of the vent connectors is not known; only one single opening needs it.",
)
METHOD = InputSpec("method", "Method", choices=tuple(air.METHODS))
LOUVRE = InputSpec(
    "louvre",
    "Louvre",
    choices=tuple(air.LOUVRES),
    default="none",
    assumed="Neither louvre nor screen stands before the opening.",
)
EDR = InputSpec("connected_edr_ft2", "Connected radiation", ratings.EDR_FT2)


@dataclass(frozen=True, slots=True)
class Rating:
    """One boiler output in all its usual units."""

    boiler_horsepower: float
    from_and_at_lb_h: float
    gross_edr_ft2: float
    net_btu_h: float
    net_edr_ft2: float


@dataclass(frozen=True, slots=True)
class CondensateRates:
    """Steam that radiation condenses in lb/h, and water that returns in gal/min."""

    condensing_lb_h: float
    feed_gpm: float


def _rate_output(gross_btu_h: float, allowance: float) -> Rating:
    net = ratings.net_btu_h(gross_btu_h, allowance)
    return Rating(
        ratings.boiler_horsepower(gross_btu_h),
        ratings.from_and_at_lb_h(gross_btu_h),
        gross_edr_ft2=ratings.edr_ft2(gross_btu_h),
        net_btu_h=net,
        net_edr_ft2=ratings.edr_ft2(net),
    )


def _condensate_rates(connected_edr_ft2: float) -> CondensateRates:
    return CondensateRates(ratings.condensing_lb_h(connected_edr_ft2), ratings.feed_rate_gpm(connected_edr_ft2))


def _judge_openings(
    method: str, input_btu_h: float, vent_connectors_in2: float, free_in2: Sequence[float]
) -> EngineeringJudgement:
    return air.judge_openings(method, input_btu_h, free_in2, vent_connectors_in2)


TABLE = (
    CalculationSpec(
        "rating",
        "One output in every way it is written",
        function=_rate_output,
        inputs=(
            InputSpec("gross_btu_h", "Gross output", ratings.POWER_BTU_H),
            InputSpec(
                "allowance",
                "Piping and pick-up",
                ratings.ALLOWANCE,
                default=ratings.STEAM_ALLOWANCE,
                assumed="Piping and pick-up take the usual 1.333; larger boilers are rated with less, down to 1.288.",
            ),
        ),
        outputs=(
            OutputSpec("boiler_horsepower", "Boiler horsepower", "bhp", "boiler_horsepower"),
            OutputSpec("from_and_at_lb_h", "From and at 212 F", "lb/h", "from_and_at_lb_h"),
            OutputSpec("gross_edr_ft2", "Radiation, gross", "ft2", "gross_edr_ft2"),
            OutputSpec("net_btu_h", "Net output", "Btu/h", "net_btu_h"),
            OutputSpec("net_edr_ft2", "Radiation, net", "ft2", "net_edr_ft2"),
        ),
        formula="bhp = Q / 33475; EDR = Q / 240; net = Q / 1.333; from and at 212 F = Q / h_fg at 14.696 psia",
        source="S48 for the horsepower; not verified yet: AHRI rating practice for 240 and 1.333",
        caution="1.333, not 1.33; larger boilers have smaller allowances. 150 Btu/h a square foot is hot water's.",
    ),
    CalculationSpec(
        "pick_up",
        "What a boiler has over its radiation",
        function=ratings.pick_up_percent,
        inputs=(InputSpec("gross_btu_h", "Gross output", ratings.POWER_BTU_H), EDR),
        outputs=(OutputSpec("pick_up_percent", "Over the radiation", "%"),),
        formula="gross / (EDR x 240) - 1",
        source="not verified yet: AHRI rating practice",
        caution="Under 0 the far radiators stay cold; far over a third the boiler cycles.",
    ),
    CalculationSpec(
        "condensate",
        "What radiation condenses",
        function=_condensate_rates,
        inputs=(EDR,),
        outputs=(
            OutputSpec("condensing_lb_h", "Steam", "lb/h", "condensing_lb_h"),
            OutputSpec("feed_gpm", "Water back", "gal/min", "feed_gpm"),
        ),
        formula="0.25 lb/h a square foot; 0.5 gal/min for 1000",
        source="not verified yet: pump makers' practice; S1 gives 0.247",
        caution="Pumps are sized two to three times that: ask their maker.",
    ),
    CalculationSpec(
        "air_openings",
        "Openings for combustion air",
        function=air.openings_needed,
        inputs=(METHOD, INPUT, CONNECTORS),
        outputs=(
            OutputSpec("openings", "Openings", at="openings"),
            OutputSpec("each_in2", "Free area of each", "in2", "each_in2"),
        ),
        formula=(
            "input / 4000 straight or vertical, / 2000 horizontal, / 3000 one opening, / 1000 indoors (100 "
            "in2 at least)"
        ),
        source=AIR_SOURCE,
        caution="No side under 3 in; within 12 in of top and of bottom. " + AIR_CAUTION,
    ),
    CalculationSpec(
        "air_openings_verdict",
        "Whether openings are enough",
        function=_judge_openings,
        inputs=(METHOD, INPUT, CONNECTORS, InputSpec("free_in2", "Free area of each opening", air.AREA_IN2, many=True)),
        outputs=VERDICT_OUTPUTS,
        formula="as many openings as the method asks for, each with its free area",
        source=AIR_SOURCE,
        caution=AIR_CAUTION,
    ),
    CalculationSpec(
        "air_free_area",
        "Free area of an opening",
        function=air.free_area_in2,
        inputs=(InputSpec("width_in", "Width", air.SIDE_IN), InputSpec("height_in", "Height", air.SIDE_IN), LOUVRE),
        outputs=(OutputSpec("free_in2", "Free area", "in2"),),
        formula="width x height x 75 % behind metal, 25 % behind wood; nothing where a side is under 3 in",
        source=AIR_SOURCE,
        caution="The louvre maker's own figure goes first; screens not finer than 1/4 in.",
    ),
    CalculationSpec(
        "air_gross_area",
        "Size of an opening behind a louvre",
        function=air.gross_area_in2,
        inputs=(InputSpec("free_in2", "Free area needed", air.AREA_IN2), LOUVRE),
        outputs=(OutputSpec("gross_in2", "Opening", "in2"),),
        formula="free / 75 % behind metal, / 25 % behind wood",
        source=AIR_SOURCE,
        caution="The louvre maker's own figure goes first; louvres that move are proved open before firing.",
    ),
    CalculationSpec(
        "air_room",
        "Room that is enough by itself",
        function=air.room_volume_ft3,
        inputs=(INPUT,),
        outputs=(OutputSpec("volume_ft3", "Room", "ft3"),),
        formula="50 ft3 for each 1000 Btu/h",
        source=AIR_SOURCE,
        caution="Not in a house known to be tight. " + AIR_CAUTION,
    ),
    CalculationSpec(
        "air_room_by_changes",
        "Room that is enough at a known rate of air changes",
        function=air.room_volume_by_air_changes_ft3,
        inputs=(
            InputSpec("ach", "Air changes an hour", air.ACH),
            InputSpec("other_btu_h", "Input without fan", air.ANY_INPUT_BTU_H),
            InputSpec(
                "fan_btu_h",
                "Input with fan",
                air.ANY_INPUT_BTU_H,
                default=0.0,
                assumed="No appliance in the room has a fan.",
            ),
        ),
        outputs=(OutputSpec("volume_ft3", "Room", "ft3"),),
        formula="21 / ACH for each 1000 Btu/h without fan, 15 / ACH with; ACH 0.60 at most",
        source=AIR_SOURCE,
        caution=AIR_CAUTION,
    ),
    CalculationSpec(
        "atmosphere",
        "Standard atmosphere at an altitude",
        function=units.atmosphere_psia,
        inputs=(InputSpec("altitude_ft", "Altitude", units.ALTITUDE_FT),),
        outputs=(OutputSpec("atmosphere_psia", "Atmosphere", "psia"),),
        formula="101.325 kPa x (1 - 2.25577e-5 x metres) ^ 5.25588",
        source="D3, the layer under 11 km",
        caution="The weather moves it by about half a psi.",
    ),
    CalculationSpec(
        "convert",
        "Units",
        function=units.convert,
        inputs=(
            InputSpec("value", "Value", Range("", -1e12, 1e12)),
            InputSpec("unit", "From", choices=tuple(units.UNITS)),
            InputSpec("to", "To", choices=tuple(units.UNITS)),
        ),
        outputs=(OutputSpec("value", "Value"),),
        formula="a straight line between two units of one kind",
        source="D4 by way of the library pint",
        caution="Gauge and absolute pressure are two kinds, a temperature and a difference of temperatures too.",
    ),
)
