"""The boiler's fire side in numbers: flue-gas readings and results, the trend of the stack, the clocked input."""

from dataclasses import dataclass
from datetime import timedelta

from fleet.engineering.combustion import O2_OF_A_RESULT
from fleet.engineering.firing import input_ratio, judge_input
from fleet.engineering.fuels import FUELS
from fleet.rules.verdicts.fire import is_factor_assumed, worked_out_btu_h
from fleet.web.boiler.boiler_data import BoilerData, Measure
from fleet.web.boiler.panels import (
    CalculationAnswer,
    Cell,
    Panel,
    PanelColumn,
    Plot,
    newest_first,
    run_calculation,
    to_cell,
    to_row,
    without_empty_note,
)
from fleet.web.shared.number_format import DEFAULT_FIGURES, in_brief, to_figures

DAY = timedelta(days=1)
USUAL_FUEL = "natural_gas"
MAX_TREND_READINGS = 200  # readings the exact trend test takes
MIN_SHOWN_PERCENT = 0.01
READING_NAMES = {"o2_percent": "oxygen", "stack_f": "stack", "room_f": "room", "co_ppm": "carbon monoxide"}
NO_PLATE = "The burner's name-plate input is not on record."
FLUE_COLUMNS = (
    PanelColumn("Efficiency", "% gross"),
    PanelColumn("CO air-free", "ppm"),
    PanelColumn("Stack over room", "F diff"),
    PanelColumn("Excess air", "%"),
    PanelColumn("Stack loss", "% gross"),
    PanelColumn("O2", "%"),
    PanelColumn("CO read", "ppm"),
    PanelColumn("Stack", "F"),
    PanelColumn("Room", "F"),
    PanelColumn("Note"),
)
INPUT_COLUMNS = (
    PanelColumn("Input", "Btu/h"),
    PanelColumn("Plate", "Btu/h"),
    PanelColumn("Of the plate", "%"),
    PanelColumn("One turn", "s"),
)
FLUE_CAUTION = (
    "Check carbon monoxide in the room first. Over 35 ppm, get everybody out. A licensed person adjusts the burner, "
    "with an analyzer in the flue and to its maker's instructions."
)


@dataclass(frozen=True, slots=True)
class FlueReading:
    """One flue-gas reading and its results."""

    measure: Measure
    flue: CalculationAnswer
    air_free: CalculationAnswer

    def number(self, name: str) -> float | None:
        """Return a reading as taken."""
        return self.measure.number(name)


def boiler_fuel(boiler_data: BoilerData) -> tuple[str, str]:
    """Return the code and words of the fuel to compute with; if none is on record, natural gas, and words for that."""
    fuel_code = boiler_data.boiler_values.get("fuel")
    if fuel_code in FUELS:
        return fuel_code, FUELS[fuel_code].name
    return USUAL_FUEL, f"{FUELS[USUAL_FUEL].name}, assumed because the fuel is not on record"


def evaluate_flue(measure: Measure, fuel_code: str) -> FlueReading:
    """Return the results of one flue-gas reading."""
    o2, co = measure.number("o2_pct"), measure.number("co_ppm")
    temperatures = {"o2_percent": o2, "stack_f": measure.number("stack_f"), "room_f": measure.number("room_f")}
    return FlueReading(
        measure,
        _calculate_flue("flue_gas", {**temperatures, "fuel": fuel_code}),
        _calculate_flue("co_air_free", {"co_ppm": co, "o2_percent": o2}),
    )


def _calculate_flue(code: str, inputs: dict[str, object]) -> CalculationAnswer:
    missing_names = [READING_NAMES[name] for name, value in inputs.items() if value is None]
    if missing_names:
        return CalculationAnswer(refused=f"Not read: {', '.join(missing_names)}.")
    return run_calculation(code, **inputs)


def combustion_panel(boiler_data: BoilerData) -> Panel:
    """Return the panel of every flue-gas reading with its results, and the trend of the stack."""
    code, words = boiler_fuel(boiler_data)
    flue_readings = [evaluate_flue(m, code) for m in boiler_data.measures_of(("combustion_test",))]
    rows = [to_row(b.measure, _flue_cells(b)) for b in flue_readings]
    columns, rows = without_empty_note(FLUE_COLUMNS, rows)
    return Panel(
        code="combustion",
        title="Flue gas",
        columns=columns,
        rows=newest_first(rows),
        plots=_flue_plots(flue_readings),
        basis=f"On gross heating value, {words}; combustion only, without jacket and off-cycle loss.",
        caution=FLUE_CAUTION,
        empty_text="No flue-gas reading is on record yet. A combustion test adds the first one.",
        calculations=("flue_gas", "co_air_free", "stack_trend"),
    )


def _flue_cells(flue_reading: FlueReading) -> tuple[Cell, ...]:
    note = " ".join(dict.fromkeys(filter(None, (flue_reading.flue.refused, flue_reading.air_free.refused))))
    return (
        to_cell(flue_reading.flue.number("efficiency_gross_percent")),
        to_cell(flue_reading.air_free.number("air_free_ppm")),
        to_cell(_stack_over_room(flue_reading)),
        *(to_cell(flue_reading.flue.number(name)) for name in ("excess_air_percent", "stack_loss_gross_percent")),
        *(to_cell(flue_reading.number(name)) for name in ("o2_pct", "co_ppm", "stack_f", "room_f")),
        Cell(note or "\u2013"),
    )


def _stack_over_room(flue_reading: FlueReading) -> float | None:
    stack, room = flue_reading.number("stack_f"), flue_reading.number("room_f")
    return None if stack is None or room is None else stack - room


def _flue_plots(flue_readings: list[FlueReading]) -> tuple[Plot, ...]:
    if not flue_readings:
        return ()
    newest = flue_readings[-1]
    efficiency = newest.flue.number("efficiency_gross_percent")
    air_free = newest.air_free.number("air_free_ppm")
    burns = f"Newest: {to_figures(efficiency, 3)} % of gross value." if efficiency else f"Newest: {newest.flue.refused}"
    gas = f"Newest: {to_figures(air_free, 3)} ppm." if air_free is not None else f"Newest: {newest.air_free.refused}"
    return (
        Plot("Does it still burn as well as it did?", burns, "% gross", ((0, "points"),), least=6.0),
        Plot("Is the stack growing hotter?", stack_word(flue_readings), "F over room", ((2, "points"),), least=100.0),
        Plot(
            "How much carbon monoxide is in the flue, air-free?", gas, "ppm", ((1, "points"),), least=100.0, zero=True
        ),
    )


def stack_word(flue_readings: list[FlueReading]) -> str:
    """Return what the trend test says of stack over room temperature, assuming all readings were at one firing rate."""
    usable = {
        b.measure.at: d for b in flue_readings if _has_flue(b) and (d := _stack_over_room(b)) is not None and d >= 0
    }
    newest = sorted(usable.items())[-MAX_TREND_READINGS:]
    days = [(at - newest[0][0]) / DAY for at, _ in newest]
    answer = run_calculation("stack_trend", days=days, differences_f=[d for _, d in newest])
    says, slope = answer.outputs.get("says"), answer.number("slope_f_month")
    if says == "not enough":
        return f"No conclusion yet: {answer.outputs['needs']}."
    if says is None or slope is None:
        return answer.refused
    rate = f"{in_brief(abs(slope), 'F diff', 2)} {'up' if slope >= 0 else 'down'} in 30 days"
    percent = 100 * (answer.number("chance") or 0.0)
    chance = "under 0.01 %" if percent < MIN_SHOWN_PERCENT else f"{to_figures(percent, 2)} %"
    if says == "rising":
        return (
            f"Rising, {rate}; chance of this by luck alone: {chance}. "
            "Soot and scale can cause this. Were all readings taken at one firing rate?"
        )
    return f"No trend: {rate}; chance of this by luck alone: {chance}."


def _has_flue(flue_reading: FlueReading) -> bool:
    """Return whether the probe was in flue gas at all."""
    o2 = flue_reading.number("o2_pct")
    return o2 is None or not O2_OF_A_RESULT.faults("o2_percent", o2)


def clocked_btu_h(measure: Measure) -> float | None:
    """Return the input in Btu/h worked out from meter or nozzle, else the one written down; None without either."""
    return worked_out_btu_h(measure.number) or measure.number("input_btu_h")


def plate_btu_h(boiler_data: BoilerData, measure: Measure | None = None) -> float | None:
    """Return the input on the burner's plate in Btu/h, now or at the time of `measure`; None if not on record."""
    burners = [
        boiler_data.occupant_at(p.id, measure.at if measure else None) for p in boiler_data.positions_of_role("burner")
    ]
    plates = [p for b in burners if (p := b.number("input_btu_h"))]
    return plates[0] if len(plates) == 1 else None


def input_panel(boiler_data: BoilerData) -> Panel:
    """Return the panel of clocked input against the plate."""
    clocked = [(m, clocked_btu_h(m)) for m in boiler_data.measures_of(("clock_input",))]
    inputs = [(m, value, plate_btu_h(boiler_data, m)) for m, value in clocked if value is not None and value > 0]
    rows = [
        to_row(
            m,
            (to_cell(value, 4), to_cell(plate, 4), to_cell(share_percent(value, plate)), to_cell(m.number("seconds"))),
        )
        for m, value, plate in inputs
    ]
    plots: tuple[Plot, ...] = ()
    if inputs:
        _, value, _ = inputs[-1]
        question = "Does it fire what its plate says?"
        plots = (Plot(question, input_word(*inputs[-1]), "Btu/h", ((0, "points"), (1, "line")), least=0.3 * value),)
    return Panel(
        code="input",
        title="Input by clocking",
        columns=INPUT_COLUMNS,
        rows=newest_first(rows),
        plots=plots,
        empty_text="No input has been clocked yet." + ("" if plate_btu_h(boiler_data) else f" {NO_PLATE}"),
        caution="Turn all other gas appliances off while the meter is clocked. A licensed person adjusts the burner.",
        calculations=("gas_input", "oil_input"),
    )


def share_percent(value: float, plate: float | None) -> float | None:
    """Return an input in % of the plate's; None without a plate."""
    return None if plate is None else 100 * input_ratio(value, plate)


def input_word(measure: Measure, value: float, plate: float | None) -> str:
    """Return the sentences about a clocked input: of the reading, its value and its plate's, in Btu/h."""
    text = f"Newest: {in_brief(value, 'Btu/h', DEFAULT_FIGURES)}"
    if plate is None:
        return f"{text}. {NO_PLATE}"
    judgement = judge_input(value, plate, is_assumed=is_factor_assumed(measure.number))
    sentences = judgement.sentences or ("Within 5 % of its plate.",)
    return f"{text}, {to_figures(share_percent(value, plate) or 0.0, 3)} % of the plate. {sentences[0]}"
