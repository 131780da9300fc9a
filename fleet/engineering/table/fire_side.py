"""Offered: flue gas, carbon monoxide, efficiency on gross value, stack trend."""

from dataclasses import dataclass

from fleet.engineering import combustion, trend
from fleet.engineering.checks import Range
from fleet.engineering.fuels import FUELS
from fleet.engineering.table.definitions import NO_PERMISSION, VERDICT_OUTPUTS, CalculationSpec, InputSpec, OutputSpec
from fleet.engineering.verdicts import EngineeringJudgement

FUEL = InputSpec(
    "fuel", "Fuel", choices=tuple(FUELS), default="natural_gas", assumed="The fuel is natural gas, not propane or oil."
)
O2 = InputSpec("o2_percent", "Oxygen in dry flue gas", combustion.O2_OF_A_RESULT)
ANY_O2 = InputSpec("o2_percent", "Oxygen in dry flue gas", combustion.O2)
CO = InputSpec("co_ppm", "Carbon monoxide as read", combustion.CO)
STACK = InputSpec("stack_f", "Flue gas", combustion.STACK_F)
ROOM = InputSpec("room_f", "Combustion air", combustion.ROOM_F)
EFFICIENCY = Range("%", 0, 100, low_in=False)
OPEN_FLUE = (
    "Measured by a qualified person, the room's air first: over 35 ppm carbon monoxide in the room get everybody out."
)
BALANCE_SOURCE = "D5 for a heat balance on GROSS value; S31 lies up to 0.8 points under it"


@dataclass(frozen=True, slots=True)
class FlueGasResult:
    """Results of one flue-gas reading. Efficiency and loss are in % of the gross heating value."""

    efficiency_gross_percent: float
    stack_loss_gross_percent: float
    excess_air_percent: float
    co2_percent: float
    dew_point_f: float


def _flue_gas_result(o2_percent: float, stack_f: float, room_f: float, fuel: str) -> FlueGasResult:
    loss = combustion.stack_loss_gross_percent(o2_percent, stack_f, room_f, fuel)
    return FlueGasResult(
        100 - loss,
        loss,
        excess_air_percent=combustion.excess_air_percent(o2_percent, fuel),
        co2_percent=combustion.co2_percent(o2_percent, fuel),
        dew_point_f=combustion.dew_point_f(o2_percent, fuel),
    )


def _steady_co(co_ppm: float, o2_percent: float, steadiness: str) -> EngineeringJudgement:
    return combustion.judge_co(co_ppm, o2_percent, steadiness == "steady")


def _room_co(co_ppm: float, outdoors_ppm: float, again_ppm: float | None, burner: str) -> EngineeringJudgement:
    return combustion.judge_room_co(co_ppm, outdoors_ppm, again_ppm=again_ppm, firing=burner == "firing")


TABLE = (
    CalculationSpec(
        "flue_gas",
        "Efficiency on gross value, and what else a flue-gas reading says",
        function=_flue_gas_result,
        inputs=(O2, STACK, ROOM, FUEL),
        outputs=(
            OutputSpec("efficiency_gross_percent", "Efficiency, gross", "%", "efficiency_gross_percent"),
            OutputSpec("stack_loss_gross_percent", "Up the stack, gross", "%", "stack_loss_gross_percent"),
            OutputSpec("excess_air_percent", "Excess air", "%", "excess_air_percent"),
            OutputSpec("co2_percent", "Carbon dioxide, dry", "%", "co2_percent"),
            OutputSpec("dew_point_f", "Water condenses under", "F", "dew_point_f"),
        ),
        formula="100 - (dry flue gas + water vapour, from stack to room, with its latent heat) / gross heating value",
        source=BALANCE_SOURCE,
        caution="Combustion only: jacket, off-cycle and piping losses come on top. European figures are on net value.",
    ),
    CalculationSpec(
        "siegert",
        "Dry-gas loss by Siegert's formula, on NET value",
        function=combustion.siegert_loss_net_percent,
        inputs=(O2, InputSpec("difference_f", "Flue gas less air", combustion.DIFFERENCE_F), FUEL),
        outputs=(OutputSpec("loss_net_percent", "Loss, net", "%"),),
        formula="dT [K] x (A2 / (21 - O2) + B)",
        source="S32; not verified yet: its coefficients, of 1. BImSchV and DIN EN 50379 practice",
        caution="On net value and without the water: 100 less this is about 9 points over the gross efficiency.",
    ),
    CalculationSpec(
        "siegert_by_co2",
        "The same from carbon dioxide, on NET value",
        function=combustion.siegert_loss_net_by_co2_percent,
        inputs=(
            InputSpec("co2_percent", "Carbon dioxide in dry flue gas", combustion.CO2),
            InputSpec("difference_f", "Flue gas less air", combustion.DIFFERENCE_F),
            FUEL,
        ),
        outputs=(OutputSpec("loss_net_percent", "Loss, net", "%"),),
        formula="dT [K] x (A1 / CO2 + B)",
        source="S32; not verified yet: its coefficients, of 1. BImSchV and DIN EN 50379 practice",
        caution="On net value and without the water: 100 less this is about 9 points over the gross efficiency.",
    ),
    CalculationSpec(
        "co_air_free",
        "Carbon monoxide air-free",
        function=combustion.co_air_free_ppm,
        inputs=(CO, O2),
        outputs=(OutputSpec("air_free_ppm", "Air-free", "ppm"),),
        formula="CO x 20.9 / (20.9 - O2)",
        source="S33 for its examples; common practice for the formula",
        caution=OPEN_FLUE,
    ),
    CalculationSpec(
        "co_verdict",
        "What carbon monoxide in the flue calls for",
        function=_steady_co,
        inputs=(
            CO,
            ANY_O2,
            InputSpec(
                "steadiness",
                "The reading is",
                choices=("steady", "rising or unsteady"),
                default="steady",
                assumed="The reading is steady. One that rises or swings calls for shutting the burner down.",
            ),
        ),
        outputs=VERDICT_OUTPUTS,
        formula="hold from 400 ppm air-free or where unsteady; urgent from 100; over 18 % oxygen no result",
        source="S33 for the 400; common practice for the 100",
        caution=OPEN_FLUE,
    ),
    CalculationSpec(
        "co_in_room",
        "What carbon monoxide in the room calls for",
        function=_room_co,
        inputs=(
            InputSpec("co_ppm", "Carbon monoxide in the room", combustion.CO),
            InputSpec(
                "outdoors_ppm",
                "Carbon monoxide outdoors",
                combustion.CO,
                default=0.0,
                assumed="There is no carbon monoxide outdoors.",
            ),
            InputSpec(
                "again_ppm",
                "In the room, read again",
                combustion.CO,
                default=None,
                assumed="The room was read once only.",
            ),
            InputSpec(
                "burner",
                "The burner is",
                choices=("firing", "off"),
                default="firing",
                assumed="The burner was firing while the room was read.",
            ),
        ),
        outputs=VERDICT_OUTPUTS,
        formula="hold over 35 ppm, or rising from 9 over outdoors; urgent from 9 over outdoors, read twice",
        source="S34 for the 35; common practice for the 9",
        caution="Get out first, call from outside; no switches where gas is smelled.",
    ),
    CalculationSpec(
        "dilution",
        "Air drawn in between two places in the flue",
        function=combustion.dilution_times,
        inputs=(
            InputSpec("o2_before_percent", "Oxygen before", combustion.O2_OF_A_RESULT),
            InputSpec("o2_after_percent", "Oxygen after", combustion.O2_OF_A_RESULT),
        ),
        outputs=(OutputSpec("times", "The flue gas grew"),),
        formula="(20.9 - O2 before) / (20.9 - O2 after)",
        source="Common practice: a balance of oxygen",
        caution="A leak in the breeching lets gas out when the draft turns.",
    ),
    CalculationSpec(
        "fuel_saved",
        "Fuel saved by a better efficiency",
        function=combustion.saving_percent,
        inputs=(
            InputSpec("efficiency_now_percent", "Efficiency now", EFFICIENCY),
            InputSpec("efficiency_after_percent", "Efficiency after", EFFICIENCY),
        ),
        outputs=(OutputSpec("saved_percent", "Fuel saved", "%"),),
        formula="1 - now / after",
        source="S31 for formula and example",
        caution="Both on the same basis, gross or net.",
    ),
    CalculationSpec(
        "stack_trend",
        "Whether the stack grows hotter",
        function=trend.stack_trend,
        inputs=(
            InputSpec("days", "Days of the readings, from any start", trend.DAY, many=True),
            InputSpec("differences_f", "Flue gas less room, same firing rate", combustion.DIFFERENCE_F, many=True),
        ),
        outputs=(
            OutputSpec("says", "In words", at="says"),
            OutputSpec("slope_f_month", "In 30 days", "F diff", "slope_f_month"),
            OutputSpec("chance", "Chance of as much by luck", at="chance"),
            OutputSpec("needs", "Still needed", at="needs"),
        ),
        formula="median slope of all pairs (Theil, Sen); rising where Kendall's exact test gives 1 % or less",
        source="Our choice of method: 6 readings over 28 days at least",
        caution="Soot and scale both do it: " + NO_PERMISSION,
    ),
)
