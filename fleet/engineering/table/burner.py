"""Offered: the input of a burner, its smoke and its stack temperature."""

from dataclasses import dataclass

from fleet.engineering import burner_grades, combustion, firing, units
from fleet.engineering.fuels import FUELS
from fleet.engineering.table.definitions import VERDICT_OUTPUTS, CalculationSpec, InputSpec, OutputSpec

LICENSED = "Burners are adjusted by licensed people to the maker's instructions, with an analyzer in the flue."
STACK = InputSpec("stack_f", "Flue gas", combustion.STACK_F)


@dataclass(frozen=True, slots=True)
class InputResult:
    """A measured input, compared with the name plate where that is known."""

    input_btu_h: float
    ratio: float | None
    verdict: str
    sentences: tuple[str, ...]


def _gas_input(
    dial_ft3: float,
    seconds: float,
    *,
    fuel: str,
    gross_btu_ft3: float | None,
    meter_factor: float | None,
    plate_btu_h: float | None,
) -> InputResult:
    gross = FUELS[fuel].gross if gross_btu_ft3 is None else gross_btu_ft3
    input_btu_h = firing.gas_input_btu_h(dial_ft3, seconds, gross, 1.0 if meter_factor is None else meter_factor)
    return _input_result(input_btu_h, plate_btu_h, is_assumed=gross_btu_ft3 is None or meter_factor is None)


def _oil_input(
    rated_gph: float, pump_psi: float, gross_btu_gal: float | None, plate_btu_h: float | None
) -> InputResult:
    gross = FUELS["oil_2"].gross if gross_btu_gal is None else gross_btu_gal
    input_btu_h = firing.oil_input_btu_h(firing.nozzle_gph(rated_gph, pump_psi), gross)
    return _input_result(input_btu_h, plate_btu_h, is_assumed=gross_btu_gal is None)


def _input_result(input_btu_h: float, plate_btu_h: float | None, is_assumed: bool) -> InputResult:
    """Return an input beside its plate, graded as the rules grade it."""
    if plate_btu_h is None:
        return InputResult(input_btu_h, None, "unknown", ())
    judgement = firing.judge_input(input_btu_h, plate_btu_h, is_assumed=is_assumed)
    ratio = firing.input_ratio(input_btu_h, plate_btu_h)
    return InputResult(input_btu_h, ratio, judgement.verdict, judgement.sentences)


PLATE = InputSpec(
    "plate_btu_h",
    "Input on the name plate",
    firing.INPUT_BTU_H,
    default=None,
    assumed="The name plate is not known: nothing is compared.",
)
GAS = InputSpec(
    "fuel",
    "Gas",
    choices=("natural_gas", "propane"),
    default="natural_gas",
    assumed="The gas is natural gas. Propane has about two and a half times its heating value.",
)
INPUT_OUTPUTS = (
    OutputSpec("input_btu_h", "Input, gross", "Btu/h", "input_btu_h"),
    OutputSpec("ratio", "Over the name plate's", "", "ratio"),
    OutputSpec("verdict", "Verdict", at="verdict"),
    OutputSpec("reasons", "Reasons", at="sentences"),
)

TABLE = (
    CalculationSpec(
        "smoke",
        "Smoke of an oil burner",
        function=burner_grades.grade_smoke,
        inputs=(
            InputSpec("smoke_number", "Smoke number", combustion.SMOKE_NUMBER),
            InputSpec(
                "most",
                "The burner maker's most",
                combustion.SMOKE_NUMBER,
                default=None,
                assumed="The burner's maker says nothing: 2 is taken, for light oil.",
            ),
        ),
        outputs=VERDICT_OUTPUTS,
        formula="urgent over the maker's number, else over 2 for light oil",
        source="not verified yet: burner makers' instructions for the 2",
        caution=LICENSED,
    ),
    CalculationSpec(
        "stack_limit",
        "Stack temperature against its limit",
        function=burner_grades.grade_stack,
        inputs=(
            STACK,
            InputSpec(
                "most_f",
                "The boiler maker's limit",
                combustion.STACK_F,
                default=None,
                assumed="The boiler's maker says nothing: 700 F is taken.",
            ),
        ),
        outputs=VERDICT_OUTPUTS,
        formula="urgent over the maker's limit, else over 700 F",
        source="Common practice for the 700 F",
        caution=LICENSED,
    ),
    CalculationSpec(
        "gas_input",
        "Gas input by clocking the meter",
        function=_gas_input,
        inputs=(
            InputSpec("dial_ft3", "Dial", firing.DIAL_FT3),
            InputSpec("seconds", "Time for it", firing.SECONDS),
            GAS,
            InputSpec(
                "gross_btu_ft3",
                "Gross heating value",
                firing.GAS_BTU_FT3,
                default=None,
                assumed="The heating value is the usual one: 1,026 Btu/ft3 of natural gas, 2,516 of propane. Ask the "
                "utility for its own.",
            ),
            InputSpec(
                "meter_factor",
                "Factor of pressure and temperature",
                firing.METER_FACTOR,
                default=None,
                assumed="The meter compensates for pressure and temperature, factor 1. One that does not shows about "
                "20 % more gas than it passes in a house at 5,000 ft: work out its factor.",
            ),
            PLATE,
        ),
        outputs=INPUT_OUTPUTS,
        formula="3600 x ft3 / s x Btu/ft3 x factor",
        source=(
            "S35 for the 1,026; not verified yet: the 2,516 Btu/ft3 of propane; common practice for formula and grades"
        ),
        caution="All other gas appliances off. " + LICENSED,
    ),
    CalculationSpec(
        "gas_factor",
        "Factor of a gas meter without compensation",
        function=firing.gas_factor,
        inputs=(
            InputSpec("gas_psig", "Gas at the meter", firing.GAS_PSIG),
            InputSpec(
                "gas_f",
                "Temperature of the gas",
                firing.GAS_F,
                default=firing.BASE_F,
                assumed="The gas in the meter is at 60 F.",
            ),
            InputSpec(
                "atmosphere_psia",
                "Atmosphere",
                units.ATMOSPHERE_PSIA,
                default=units.STANDARD_ATMOSPHERE_PSIA,
                assumed="The house stands at sea level: 14.696 psia. At 5,000 ft it is 12.2.",
            ),
            InputSpec(
                "base_psia",
                "Base pressure of the sale",
                units.ATMOSPHERE_PSIA,
                default=firing.BASE_PSIA,
                assumed="The gas is sold at a base of 14.73 psia: the utility says which one it uses.",
            ),
        ),
        outputs=(OutputSpec("factor", "Factor"),),
        formula="(atmosphere + gauge) / base x 519.67 / (F + 459.67)",
        source="Common practice: the ideal gas; not verified yet: the utility's base of 14.73 psia and 60 F",
        caution="A meter that compensates takes 1: ask the utility.",
    ),
    CalculationSpec(
        "oil_input",
        "Oil input by nozzle and pump pressure",
        function=_oil_input,
        inputs=(
            InputSpec("rated_gph", "Nozzle at 100 psi", firing.GPH),
            InputSpec("pump_psi", "Pump pressure", firing.PUMP_PSI),
            InputSpec(
                "gross_btu_gal",
                "Gross heating value",
                firing.OIL_BTU_GAL,
                default=None,
                assumed="The heating value is that of No. 2 oil, 138,690 Btu/gal.",
            ),
            PLATE,
        ),
        outputs=INPUT_OUTPUTS,
        formula="gal/h x sqrt(psi / 100) x Btu/gal",
        source="S35 for the 138,690; common practice for formula and grades",
        caution=LICENSED,
    ),
)
